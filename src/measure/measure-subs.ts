import { fromExactJson, toExactJson } from "../numbers/exact-json.js";
import { exposureFacts, type Given } from "../read/exposure-facts.js";
import { type ByteSource, openFile } from "../read/file-bytes.js";
import type { FoundFile } from "../read/folders.js";
import { firstImage, openPixels } from "../read/hdu.js";
import type { FrameRow } from "../terms/frame-table.js";
import { type ContentKey, contentKey, keyOf } from "./content-key.js";
import type { Pool } from "./pool.js";
import type { Store } from "./store.js";
import { type SubFacts, subFacts } from "./sub-facts.js";
import { readSubMeasurement, type SubMeasurement, writeSubMeasurement } from "./sub-measurement.js";
import { subRow } from "./sub-row.js";
import { explained, type MatchSide, type Unreadable } from "./sub-task.js";

/** One file of a night. */
export interface Sub {
  readonly row: Partial<FrameRow>;
  /** null: the file could not be read. */
  readonly facts: SubFacts | null;
  readonly unreadable: Unreadable | null;
  /** What the file is known by; null: it could not be read. */
  readonly content: ContentKey | null;
  /** What matching needs, of a measured light frame. */
  readonly matchable: Matchable | null;
}

/** A sub's stars, and the key under which it is remembered. */
export interface Matchable extends MatchSide {
  readonly day: string;
  readonly key: string;
}

/** How files are measured. */
export interface MeasureSubs {
  readonly pool: Pool;
  readonly store: Store;
  readonly given: Given;
  /** Version of nightyield: another version reads remembered headers anew. */
  readonly version: string;
  /** Called after each file, in the order in which they are done. */
  readonly onDone: (file: string) => void;
}

/** Files looked at before signals get their turn. */
const turn = 32;

/**
 * Reads, measures and places files; what the store remembers is not measured again.
 * @returns one sub a file, in the files' order, whatever the number of workers
 */
export async function measureSubs(files: readonly FoundFile[], how: MeasureSubs): Promise<Sub[]> {
  const subs: (Sub | Promise<Sub>)[] = [];
  const { onDone } = how;
  for (const [i, found] of files.entries()) {
    const sub = subOf(found, how);
    if (sub instanceof Promise) {
      subs.push(
        sub.then((done) => {
          onDone(found.file);
          // Only what is needed later stays in memory.
          subs[i] = done;
          return done;
        }),
      );
      await how.pool.room();
    } else {
      subs.push(sub);
      onDone(found.file);
      if (i % turn === 0) await new Promise((resume) => setImmediate(resume));
    }
  }
  return Promise.all(subs);
}

function subOf({ path, file }: FoundFile, { pool, store, given, version }: MeasureSubs): Sub | Promise<Sub> {
  let read: { content: ContentKey; facts: SubFacts };
  try {
    read = readFacts(path, file, store, given, version);
  } catch (error) {
    return unreadableSub(file, explained(error));
  }
  const { content, facts } = read;
  const { options } = facts;
  if (facts.described.kind !== "light")
    return { row: { ...facts.described, file }, facts, unreadable: null, content, matchable: null };
  const key = keyOf(content.key, toExactJson(options));
  const finished = (measured: SubMeasurement): Sub => {
    const { width, height, brightStars } = measured;
    const matchable = { day: content.day, key, width, height, brightStars };
    return { row: { ...subRow(facts, measured), file }, facts, unreadable: null, content, matchable };
  };
  const remembered = store.find(content.day, "s", key);
  if (remembered !== null) return finished(readSubMeasurement(remembered));
  return pool.do({ kind: "measure", path, file, options }).then((outcome) => {
    if ("unreadable" in outcome) return unreadableSub(file, outcome.unreadable);
    store.keep(content.day, "s", key, writeSubMeasurement(outcome.measured));
    return finished(outcome.measured);
  });
}

/** What headers say, from the store where it remembers it: they are all in the part of the file that its key covers. */
function readFacts(path: string, file: string, store: Store, given: Given, version: string) {
  const source = openFile(path, file);
  try {
    const content = contentKey(source);
    const key = keyOf(content.key, version, toExactJson(given));
    const remembered = store.find(content.day, "f", key);
    if (remembered !== null) return { content, facts: fromExactJson(remembered) as SubFacts };
    const facts = factsOf(source, given);
    store.keep(content.day, "f", key, toExactJson(facts));
    return { content, facts };
  } finally {
    source.close();
  }
}

function factsOf(source: ByteSource, given: Given): SubFacts {
  const image = firstImage(source);
  const facts = exposureFacts(image.headers, given);
  return subFacts(facts, openPixels(image.source, image.hdu));
}

function unreadableSub(file: string, unreadable: Unreadable): Sub {
  const { offsetBytes, problem, remedy } = unreadable.symptom;
  const note = `byte ${offsetBytes}: ${problem}. ${remedy}`;
  return { row: { file, kind: "unreadable", note }, facts: null, unreadable, content: null, matchable: null };
}
