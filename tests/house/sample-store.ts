import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";

/**
 * One store for a whole test run, where several files need the sample nights measured: whichever comes first fills it.
 * It starts empty, so nothing of an earlier build is taken for what this one measures.
 */
export default function setUp(): () => void {
  const folder = mkdtempSync(join(tmpdir(), "nightyield-samples-"));
  process.env.NIGHTYIELD_SAMPLE_STORE = folder;
  return () => rmSync(folder, { recursive: true, force: true });
}

/** The folder of that store. */
export const sampleStore = (): string => process.env.NIGHTYIELD_SAMPLE_STORE!;
