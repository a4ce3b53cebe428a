import { existsSync, readFileSync } from "node:fs";
import { fileURLToPath } from "node:url";

/** Real frames and reference values that lie beside the project, where there are any. They are input, never part of it. */
export const sharedUrl = new URL("../../../shared/", import.meta.url);
export const sharedPath = (path: string) => fileURLToPath(new URL(path, sharedUrl));
export const hasShared = existsSync(new URL("data/expected.json", sharedUrl));
export const withoutShared = "skipped: ../shared with the reference data is not beside the project";

export interface ExpectedHdu {
  readonly index: number;
  readonly name: string;
  readonly type: string;
  readonly naxis?: readonly number[];
  readonly bitpix?: number;
  readonly pixels?: number;
  readonly nan?: number;
  readonly min?: number | null;
  readonly max?: number | null;
  readonly sha256?: string;
  readonly error?: string;
  readonly checksum?: readonly [boolean | null, boolean | null];
  readonly cards?: readonly (readonly [string, unknown, string, string])[];
}
export interface ExpectedFile {
  readonly fileSha256: string;
  readonly mustFail?: boolean;
  readonly lenient?: boolean;
  readonly why?: string;
  readonly truth?: Readonly<Record<string, unknown>>;
  readonly utcStart?: string | null;
  readonly kind?: string;
  readonly hdus?: readonly ExpectedHdu[];
  readonly astropyError?: string;
}

/** What ../shared/data/expected.json says of every file, by path below ../shared/data. */
export function expectedFiles(): [string, ExpectedFile][] {
  if (!hasShared) return [];
  return Object.entries(JSON.parse(readFileSync(new URL("data/expected.json", sharedUrl), "utf8")).files);
}
