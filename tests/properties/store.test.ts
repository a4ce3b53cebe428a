// What is remembered comes back as it was, and no damage to the store's files brings back anything else.
import { spawn } from "node:child_process";
import { appendFileSync, mkdtempSync, readdirSync, readFileSync, rmSync, truncateSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import fc from "fast-check";
import { afterAll, beforeEach, describe, expect, it } from "vitest";
import { packBrightStars, unpackBrightStars } from "../../src/measure/bright-stars.js";
import { contentKey, keyOf } from "../../src/measure/content-key.js";
import { type StarList, starFlags } from "../../src/measure/star.js";
import { openStore } from "../../src/measure/store.js";
import { readLine, writeLine } from "../../src/measure/store-line.js";
import { readSubMeasurement, writeSubMeasurement } from "../../src/measure/sub-measurement.js";
import { fromExactJson, toExactJson } from "../../src/numbers/exact-json.js";
import { memoryBytes } from "../../src/read/file-bytes.js";

const root = mkdtempSync(join(tmpdir(), "nightyield-store-"));
afterAll(() => rmSync(root, { recursive: true, force: true }));
const anyNumber = fc.oneof(fc.double(), fc.constantFrom(Number.NaN, -0, 0, Number.POSITIVE_INFINITY, 5e-324));
const hexKey = fc.stringMatching(/^[0-9a-f]{32}$/);
const payload = fc.string({ unit: "grapheme", maxLength: 60 }).map((text) => JSON.stringify(text));

describe("exact JSON", () => {
  it("gives back every number, text and list to the last bit", () => {
    const leaf = fc.oneof(anyNumber, fc.string(), fc.constant(null), fc.boolean());
    const wide = fc.array(anyNumber).map((values) => Float64Array.from(values));
    const key = fc.stringMatching(/^[a-z]{1,9}$/).filter((name) => name !== "number" && name !== "float64");
    const tree = fc.letrec((tie) => ({
      node: fc.oneof({ maxDepth: 3 }, leaf, wide, fc.array(tie("node")), fc.dictionary(key, tie("node"))),
    })).node;
    fc.assert(
      fc.property(tree, (value) => {
        expect(fromExactJson(toExactJson(value))).toEqual(value);
      }),
    );
    expect(Object.is(fromExactJson(toExactJson({ a: -0 })), -0)).toBe(false);
    expect(Object.is((fromExactJson(toExactJson({ a: -0 })) as { a: number }).a, -0)).toBe(true);
  });

  it("a measured sub comes back whole", () => {
    const zone = Float64Array.of(1.1, Number.NaN, 3);
    const measured = {
      ...{ width: 10, height: 8, backgroundAdu: 1 / 3, noiseAdu: 0, backgroundGradient: Number.POSITIVE_INFINITY },
      ...{ starCount: 3, fwhmPx: Number.NaN, fwhmErrorPx: 0.1, beta: 3, hfrPx: -0, eccentricity: 0.5 },
      ...{ elongationAngleDeg: 12, fieldSpread: 0.1, saturatedFraction: 0, hotPixels: 7, blockedFraction: 0 },
      zones: { stars: zone, fwhmPx: zone, eccentricity: zone, angleDeg: zone },
      streaks: { count: 1, list: [{ xPx: 1, yPx: 2, angleDeg: 3, lengthPx: 4, widthPx: 5 }] },
      notes: ["one", "zwei ü"],
      brightStars: Uint8Array.of(0, 1, 255, 10, 13),
    };
    const text = writeSubMeasurement(measured);
    expect(text).not.toContain("\n");
    const back = readSubMeasurement(text);
    expect({ ...back, brightStars: [...back.brightStars] }).toEqual({ ...measured, brightStars: [0, 1, 255, 10, 13] });
  });
});

describe("stars for matching", () => {
  const listOf = (count: number, flags: (i: number) => number): StarList => {
    const column = (value: (i: number) => number) => Float64Array.from({ length: count }, (_, i) => value(i));
    const same = column(() => 1);
    const flux = column((i) => 1000 + ((i * 7919) % count));
    return {
      ...{ count, xPx: column((i) => i / 3), yPx: column((i) => 5000 - i / 7), fluxAdu: flux, fluxErrorAdu: same },
      ...{ peakAdu: same, snr: flux, hfrPx: same, semiMajorPx: same, semiMinorPx: same, angleDeg: same },
      flags: Uint8Array.from({ length: count }, (_, i) => flags(i)),
    };
  };

  it("are the brightest of those that are whole and not saturated, to single precision, at most 300", () => {
    const stars = listOf(1000, (i) => [0, starFlags.saturated, starFlags.crowded, starFlags.incomplete][i % 4]!);
    const kept = unpackBrightStars(packBrightStars(stars));
    const wanted = Array.from({ length: 1000 }, (_, i) => i)
      .filter((i) => i % 2 === 0)
      .sort((a, b) => stars.fluxAdu[b]! - stars.fluxAdu[a]!)
      .slice(0, 300);
    expect(kept.count).toBe(300);
    expect([...kept.xPx]).toEqual(wanted.map((i) => Math.fround(stars.xPx[i]!)));
    expect([...kept.fluxAdu]).toEqual(wanted.map((i) => stars.fluxAdu[i]));
    expect([...kept.flags]).toEqual(wanted.map((i) => stars.flags[i]));
    expect(packBrightStars(listOf(0, () => 0)).length).toBe(0);
  });

  it("are the same wherever their bytes lie, as in a Node buffer that shares its memory", () => {
    const packed = packBrightStars(listOf(37, () => 0));
    const shared = Buffer.concat([Buffer.from("abc"), packed]).subarray(3);
    expect(unpackBrightStars(shared)).toEqual(unpackBrightStars(packed));
  });

  it("packing what was packed changes nothing", () => {
    const once = packBrightStars(listOf(123, () => 0));
    expect(packBrightStars(unpackBrightStars(once))).toEqual(once);
  });
});

describe("content keys", () => {
  const bytes = (length: number) => Uint8Array.from({ length }, (_, i) => (i * 2654435761) >>> 24);
  it("tell apart files that differ in any byte of a small file, in head or tail of a large one, or in length", () => {
    for (const length of [0, 1, 2880, 65_535, 65_536]) {
      const one = bytes(length);
      const key = contentKey(memoryBytes("a", one)).key;
      expect(contentKey(memoryBytes("elsewhere", one)).key).toBe(key);
      for (const at of [0, length >> 1, length - 1])
        if (at >= 0 && at < length) {
          const other = one.slice();
          other[at]! ^= 1;
          expect(contentKey(memoryBytes("a", other)).key).not.toBe(key);
        }
    }
    const large = bytes(1_000_000);
    const key = contentKey(memoryBytes("a", large)).key;
    for (const at of [0, 24_575, 999_999, 992_000]) {
      const other = large.slice();
      other[at]! ^= 1;
      expect(contentKey(memoryBytes("a", other)).key).not.toBe(key);
    }
    expect(contentKey(memoryBytes("a", large.subarray(0, 999_999))).key).not.toBe(key);
  });

  it("a frame of other noise differs in its samples alone, where head, tail and size are the same", () => {
    const one = bytes(1_000_000);
    const other = one.map((byte, i) => (i < 24_576 || i >= 1_000_000 - 8192 ? byte : byte ^ 1));
    expect(contentKey(memoryBytes("a", other)).key).not.toBe(contentKey(memoryBytes("a", one)).key);
  });

  it("file a sub under the day of its header", () => {
    const header = (card: string) =>
      new TextEncoder().encode(`SIMPLE  =                    T${" ".repeat(50)}${card}`.padEnd(2880));
    expect(contentKey(memoryBytes("a", header("DATE-OBS= '2026-03-14T21:07:00.5'"))).day).toBe("2026-03-14");
    expect(contentKey(memoryBytes("a", header("DATE-OBS= '../../../etc'"))).day).toBe("undated");
    expect(contentKey(memoryBytes("a", header("DATE    = '2026-03-14'"))).day).toBe("undated");
  });

  it("of several parts do not run into one another", () => {
    expect(keyOf("ab", "c")).not.toBe(keyOf("a", "bc"));
  });
});

describe("lines of the store", () => {
  it("come back whole", () => {
    fc.assert(
      fc.property(hexKey, payload, (key, text) => {
        const line = writeLine("s", key, text);
        expect(line.at(-1)).toBe(10);
        expect(readLine(line.subarray(0, -1))).toEqual({ name: `s${key}`, payload: text });
      }),
    );
  });

  it("do not come back when a byte was changed, lost or cut", () => {
    fc.assert(
      fc.property(hexKey, payload, fc.nat(), fc.integer({ min: 1, max: 255 }), (key, text, where, change) => {
        const line = writeLine("p", key, text).subarray(0, -1);
        const at = where % line.length;
        const changed = Buffer.from(line);
        changed[at]! ^= change;
        expect(readLine(changed)).toBeNull();
        expect(readLine(line.subarray(0, at))).toBeNull();
        expect(readLine(Buffer.concat([line.subarray(0, at), line.subarray(at + 1)]))).toBeNull();
      }),
    );
  });
});

describe("the store", () => {
  let folder: string;
  let file: string;
  const keys = Array.from({ length: 40 }, (_, i) => keyOf(String(i)));
  const text = (i: number) => JSON.stringify({ i, pad: "x".repeat(i * 13) });
  const fill = (first: number, end: number) => {
    const store = openStore(folder);
    for (let i = first; i < end; i++) store.keep("2026-03-14", "s", keys[i]!, text(i));
    store.close();
  };
  /** How many of the first keys come back, which must all be right, and none beyond. */
  const intact = (): { found: number[]; problems: readonly string[] } => {
    const store = openStore(folder);
    const found = keys.flatMap((key, i) => {
      const back = store.find("2026-03-14", "s", key);
      if (back !== null) expect(back).toBe(text(i));
      return back === null ? [] : [i];
    });
    store.close();
    return { found, problems: store.problems() };
  };
  const upTo = (n: number) => keys.slice(0, n).map((_, i) => i);
  beforeEach(() => {
    folder = mkdtempSync(join(root, "s"));
    fill(0, 20);
    file = join(folder, readdirSync(folder)[0]!);
  });

  it("finds what was kept, of its kind and day only", () => {
    expect(intact()).toEqual({ found: upTo(20), problems: [] });
    const store = openStore(folder);
    expect(store.find("2026-03-14", "p", keys[0]!)).toBeNull();
    expect(store.find("2026-03-15", "s", keys[0]!)).toBeNull();
    store.close();
  });

  it("cut off at any byte, keeps the whole lines before, says nothing, and goes on", () => {
    const whole = readFileSync(file);
    for (let cut = 0; cut < whole.length; cut += cut < 200 || cut > whole.length - 200 ? 7 : 149) {
      writeFileSync(file, whole.subarray(0, cut));
      const lines = whole.subarray(0, cut).filter((byte) => byte === 10).length;
      fill(30, 32);
      expect(intact()).toEqual({ found: [...upTo(lines), 30, 31], problems: [] });
    }
  }, 60_000);

  it("leaves out a damaged line in the middle, says so, and finds all others", () => {
    const whole = readFileSync(file);
    const ends = [...whole.keys()].filter((i) => whole[i] === 10);
    for (const offset of [0, 40, 52]) {
      const damaged = Buffer.from(whole);
      damaged[ends[6]! + 1 + offset]! ^= 0x01;
      writeFileSync(file, damaged);
      const { found, problems } = intact();
      expect(found).toEqual(upTo(20).filter((i) => i !== 7));
      expect(problems.join()).toMatch(/is damaged and was left out.*delete that file/);
    }
    writeFileSync(
      file,
      Buffer.concat([whole.subarray(0, ends[6]! + 1), Buffer.alloc(5000, 7), whole.subarray(ends[6]!)]),
    );
    const { found, problems } = intact();
    expect(found).toEqual(upTo(20));
    expect(problems.join()).toMatch(/is damaged and was left out.*delete that file/);
  });

  it("reads lines longer than its pieces, and survives gigantic ones that are no lines", () => {
    const long = "y".repeat(2_500_000);
    const store = openStore(folder);
    store.keep("2026-03-14", "f", keys[0]!, long);
    store.close();
    appendFileSync(file, Buffer.alloc(6_000_000, 65));
    appendFileSync(file, "\n");
    fill(30, 31);
    expect(intact().found).toEqual([...upTo(20), 30]);
    const again = openStore(folder);
    expect(again.find("2026-03-14", "f", keys[0]!)).toBe(long);
    again.close();
  });

  it("a folder that cannot be made is told, and nothing else happens", () => {
    const store = openStore(join(file, "below-a-file"));
    store.keep("2026-03-14", "s", keys[0]!, "1");
    expect(store.find("2026-03-14", "s", keys[0]!)).toBeNull();
    expect(store.problems().length).toBe(1);
    expect(store.problems()[0]).toMatch(/cannot be remembered in .*--store/);
    store.close();
  });

  it("another process that cuts the file under it costs only what was cut", () => {
    const store = openStore(folder);
    expect(store.find("2026-03-14", "s", keys[19]!)).not.toBeNull();
    truncateSync(file, 500);
    expect(store.find("2026-03-14", "s", keys[19]!)).toBeNull();
    expect(store.find("2026-03-14", "s", keys[0]!)).toBe(text(0));
    store.close();
  });
});

describe("several processes", () => {
  it("write into one store at once without harm to any line", async () => {
    const folder = mkdtempSync(join(root, "p"));
    const built = new URL("../../dist/measure/store.js", import.meta.url).href;
    const script = `
      const { openStore } = await import(${JSON.stringify(built)});
      const store = openStore(${JSON.stringify(folder)});
      const who = Number(process.argv[1]);
      for (let i = 0; i < 400; i++) store.keep("2026-03-14", "s", String(who * 1000 + i).padStart(32, "0"), JSON.stringify({ who, i, pad: "z".repeat(9000) }));
      store.close();`;
    const ended = [1, 2, 3].map(
      (who) =>
        new Promise<number | null>((done) => {
          spawn(process.execPath, ["--input-type=module", "-e", script, String(who)], { stdio: "inherit" }).on(
            "exit",
            done,
          );
        }),
    );
    expect(await Promise.all(ended)).toEqual([0, 0, 0]);
    const store = openStore(folder);
    for (const who of [1, 2, 3])
      for (let i = 0; i < 400; i++) {
        const back = store.find("2026-03-14", "s", String(who * 1000 + i).padStart(32, "0"));
        expect(back).toBe(JSON.stringify({ who, i, pad: "z".repeat(9000) }));
      }
    expect(store.problems()).toEqual([]);
    store.close();
  });
});
