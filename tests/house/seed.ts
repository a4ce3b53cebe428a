import fc from "fast-check";

/** One seed for all property tests, so that a run can be repeated; FC_SEED tries another. */
fc.configureGlobal({ seed: Number(process.env.FC_SEED ?? 20_251_018) });

/** Commands that tests start measure anew: what an earlier build remembered must not stand in for this one. */
process.env.NIGHTYIELD_STORE ??= "none";
