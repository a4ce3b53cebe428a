import { homedir } from "node:os";
import { join, resolve } from "node:path";

/**
 * Where measurements are remembered: what `--store` says, else what the environment variable NIGHTYIELD_STORE says, else
 * the user's cache folder for this platform.
 * @param given - value of --store
 * @returns undefined for `none`: nowhere
 */
export function storePlace(given: string | undefined): string | undefined {
  const said = given ?? (process.env.NIGHTYIELD_STORE || undefined);
  if (said === "none") return undefined;
  return said === undefined ? join(cacheFolder(), "nightyield") : resolve(said);
}

function cacheFolder(): string {
  const { env, platform } = process;
  if (platform === "darwin") return join(homedir(), "Library", "Caches");
  if (platform === "win32") return env.LOCALAPPDATA || join(homedir(), "AppData", "Local");
  // The XDG base directory specification: a relative path there is to be ignored.
  return env.XDG_CACHE_HOME?.startsWith("/") ? env.XDG_CACHE_HOME : join(homedir(), ".cache");
}
