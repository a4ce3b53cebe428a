/** True in CI and with NIGHTYIELD_FULL=1: tests whose size is their point then run at full size. */
export const full = Boolean(process.env.CI) || process.env.NIGHTYIELD_FULL === "1";

/** How large a test is: small every day, where a run is waited for, and at full size in CI. What it asserts is the same. */
export const sized = (everyDay: number, inCi: number): number => (full ? inCi : everyDay);
