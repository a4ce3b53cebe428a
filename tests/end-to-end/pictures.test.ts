// Pictures of frames, judged by readers that are not ours: a PNG decoder in Python (its own zlib and checksums, the five
// filters of the standard's section 9) and Chromium. Pixel values are worked out by hand from small frames.
import { spawnSync } from "node:child_process";
import { mkdtempSync, readdirSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath, pathToFileURL } from "node:url";
import fc from "fast-check";
import { afterAll, describe, expect, it } from "vitest";
import { mimeBundle } from "../../src/kernel/show/mime-bundle.js";
import { measureFrame } from "../../src/measure/measure-frame.js";
import { randomStream } from "../../src/numbers/random.js";
import { openFile } from "../../src/read/file-bytes.js";
import { firstImage, openPixels } from "../../src/read/hdu.js";
import type { PixelReader } from "../../src/read/pixels.js";
import { blinkPicture } from "../../src/show/blink.js";
import { chart } from "../../src/show/chart.js";
import { timelineFigure } from "../../src/show/charts.js";
import { contactSheet } from "../../src/show/contact-sheet.js";
import { framePicture } from "../../src/show/frame-picture.js";
import { encodeAnimation, encodePng, type Raster } from "../../src/show/png.js";
import { reduceFrame } from "../../src/show/reduce-frame.js";
import { commonStretch, greyOf, skyGrey, stretchOf } from "../../src/show/stretch.js";
import { hasPython, python, withoutPython } from "../reference/python.js";
import { Browser, hasChromium, withoutChromium } from "./chromium.js";
import { hostileNames, hostileNight } from "./report-hostile.js";

const folder = mkdtempSync(join(tmpdir(), "nightyield-pictures-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const decoder = `
import sys, struct, zlib, json
def decode(data):
    assert data[:8] == b'\\x89PNG\\r\\n\\x1a\\n'
    at, chunks = 8, []
    while at < len(data):
        (n,) = struct.unpack('>I', data[at:at+4]); kind = data[at+4:at+8]; body = data[at+8:at+8+n]
        (crc,) = struct.unpack('>I', data[at+8+n:at+12+n]); assert crc == zlib.crc32(kind + body), kind
        chunks.append((kind.decode(), body)); at += 12 + n
    w, h, depth, colour, _, _, interlace = struct.unpack('>IIBBBBB', chunks[0][1]); assert interlace == 0
    palette = dict(chunks).get('PLTE'); per = {0: 1, 2: 3, 3: 1}[colour]
    def image(raw):
        raw = zlib.decompress(raw); stride = (w * per * depth + 7) // 8; back = max(1, per * depth // 8)
        assert len(raw) == h * (stride + 1); above = bytearray(stride); out = []
        for y in range(h):
            f, row = raw[y*(stride+1)], bytearray(raw[y*(stride+1)+1:(y+1)*(stride+1)])
            for i in range(stride):
                a = row[i-back] if i >= back else 0; b = above[i]; c = above[i-back] if i >= back else 0
                p = a + b - c; pa, pb, pc = abs(p-a), abs(p-b), abs(p-c)
                row[i] = (row[i] + [0, a, b, (a+b)//2, a if pa <= pb and pa <= pc else b if pb <= pc else c][f]) & 255
            bits = [(row[(x*depth)//8] >> (8 - depth - (x*depth) % 8)) & (2**depth - 1) for x in range(w * per)]
            out += [v for x in bits for v in (palette[3*x:3*x+3] if colour == 3 else [x * 255 // (2**depth - 1)])]; above = row
        return out
    frames, parts, controls, order = [], b'', [], []
    for kind, body in chunks:
        if kind == 'IDAT': parts += body
        if kind == 'fcTL':
            if controls and parts: frames.append(image(parts)); parts = b''
            order.append(struct.unpack('>I', body[:4])[0]); controls.append(struct.unpack('>IIIIHHBB', body[4:]))
        if kind == 'fdAT': order.append(struct.unpack('>I', body[:4])[0]); parts += body[4:]
    frames.append(image(parts)); by = dict(chunks)
    text = by['iTXt'].split(b'\\0\\0\\0\\0\\0', 1) if 'iTXt' in by else [b'', b'']
    return dict(width=w, height=h, depth=depth, colour=colour, frames=frames, kinds=[k for k, _ in chunks], order=order,
        controls=controls, acTL=struct.unpack('>II', by['acTL']) if 'acTL' in by else None, text=[t.decode() for t in text])
print(json.dumps([decode(open(path, 'rb').read()) for path in sys.argv[1:]]))
`;

interface Decoded {
  readonly width: number;
  readonly height: number;
  readonly depth: number;
  readonly colour: number;
  readonly frames: number[][];
  readonly kinds: string[];
  readonly order: number[];
  readonly controls: number[][];
  readonly acTL: number[] | null;
  readonly text: string[];
}

let written = 0;
function decoded(...pictures: readonly Uint8Array[]): Decoded[] {
  const paths = pictures.map((bytes) => {
    const path = join(folder, `${written++}.png`);
    writeFileSync(path, bytes);
    return path;
  });
  const ended = spawnSync(python, ["-c", decoder, ...paths], { encoding: "utf8", maxBuffer: 100_000_000 });
  if (ended.status !== 0) throw new Error(ended.stderr);
  return JSON.parse(ended.stdout) as Decoded[];
}

const raster = (width: number, height: number, channels: 1 | 3, value: (i: number) => number): Raster => ({
  width,
  height,
  channels,
  samples: Uint8Array.from({ length: width * height * channels }, (_, i) => value(i)),
});
const scramble = (i: number) => (Math.imul(i + 1, 2654435761) >>> 16) & 255;
const hasZlib = hasPython("zlib");

describe.skipIf(!hasZlib)(`PNG files read by Python${hasZlib ? "" : ` (${withoutPython("zlib")})`}`, () => {
  it("hold every sample, in as few bits as the greys or colours need", () => {
    const given: [Raster, number, number][] = [
      [raster(37, 11, 1, scramble), 8, 0],
      [raster(40, 9, 1, (i) => (i % 40) * 6), 8, 0], // smooth, so that the filters are used
      [raster(37, 11, 1, (i) => 17 * (scramble(i) % 16)), 4, 0],
      [raster(13, 5, 1, (i) => 85 * (scramble(i) % 4)), 2, 0],
      [raster(19, 3, 1, (i) => 255 * (scramble(i) % 2)), 1, 0],
      [raster(37, 11, 3, scramble), 8, 2],
      [raster(30, 20, 3, (i) => Math.floor(i / 90) + (i % 3)), 8, 3],
      [raster(9, 4, 3, (i) => (Math.floor(i / 3) % 3) * 50 + (i % 3)), 2, 3],
      [raster(1, 1, 1, () => 200), 8, 0],
    ];
    const files = given.map(([picture]) => encodePng(picture, "Black is 3 \u00d7 2 ADU"));
    decoded(...files).forEach((file, i) => {
      const [{ width, height, samples }, depth, colour] = given[i]!;
      expect([file.width, file.height, file.depth, file.colour]).toEqual([width, height, depth, colour]);
      expect(file.frames).toEqual([Array.from(samples)]);
      expect(file.text).toEqual(["Description", "Black is 3 \u00d7 2 ADU"]);
    });
  });

  it("as an animation hold every picture, in order, each for its time", () => {
    for (const levels of [16, 256]) {
      const pictures = [0, 1, 2, 3].map((n) =>
        raster(31, 17, 1, (i) => (255 / (levels - 1)) * (scramble(i + 1000 * n) % levels)),
      );
      const [file] = decoded(encodeAnimation(pictures, { delayMs: 650 }));
      expect(file!.frames).toEqual(pictures.map(({ samples }) => Array.from(samples)));
      expect(file!.acTL).toEqual([4, 0]);
      expect(file!.order).toEqual([0, 1, 2, 3, 4, 5, 6]);
      for (const control of file!.controls) expect(control).toEqual([31, 17, 0, 0, 650, 1000, 0, 0]);
      expect(file!.kinds).toEqual([
        "IHDR",
        "acTL",
        "fcTL",
        "IDAT",
        "fcTL",
        "fdAT",
        "fcTL",
        "fdAT",
        "fcTL",
        "fdAT",
        "IEND",
      ]);
    }
    expect(() => encodeAnimation([], { delayMs: 5 })).toThrow(/at least one/);
    const unlike = [raster(3, 3, 1, () => 0), raster(4, 3, 1, () => 0)];
    expect(() => encodeAnimation(unlike, { delayMs: 5 })).toThrow(/3 x 3 .* 4 x 3/);
  });

  it("of frames say what was done, and lie the right way up", () => {
    // Dark sky with a bright spot in the first stored row: at the bottom unless told otherwise.
    const values = Float32Array.from({ length: 64 * 40 }, (_, i) => 100 + (scramble(i) % 8));
    values[5] = 9000;
    const frame = { width: 64, height: 40, values };
    const up = framePicture(frame);
    const down = framePicture(frame, { firstRow: "top" });
    const [a, b] = decoded(up.png, down.png);
    expect(a!.frames[0]![39 * 64 + 5]).toBe(255);
    expect(b!.frames[0]![5]).toBe(255);
    expect(a!.text[1]).toBe(up.text);
    expect(up.text).toContain(
      "The first row of the file is at the bottom. Nothing was denoised, sharpened, removed or",
    );
    expect([a!.width, a!.height]).toEqual([up.width, up.height]);
  });

  it("carry marks beside what they point at, and leave the rest as it was", () => {
    const frame = {
      width: 120,
      height: 80,
      values: Float32Array.from({ length: 9600 }, (_, i) => 100 + (scramble(i) % 8)),
    };
    const none = new Float64Array([0]);
    const star = { count: 1, xPx: new Float64Array([30]), yPx: new Float64Array([20]), hfrPx: new Float64Array([2]) };
    const filled = {
      fluxAdu: none,
      fluxErrorAdu: none,
      peakAdu: none,
      snr: none,
      semiMajorPx: none,
      semiMinorPx: none,
    };
    const stars = { ...star, ...filled, angleDeg: none, flags: new Uint8Array(1) };
    const streak = { xPx: 80, yPx: 60, angleDeg: 0, lengthPx: 40, widthPx: 3 };
    const blocked = { across: 3, cellPx: 40, covered: Uint8Array.of(0, 0, 0, 0, 0, 1) };
    const marks = { stars, streaks: [streak], blocked };
    const plain = framePicture(frame);
    const marked = framePicture(frame, { marks });
    const [before, after] = decoded(plain.png, marked.png);
    const at = (x: number, yStored: number) => {
      const i = 3 * ((79 - yStored) * 120 + x);
      return after!.frames[0]!.slice(i, i + 3);
    };
    expect(at(37, 20)).toEqual([0x56, 0xb4, 0xe9]); // radius 2 x 2 + 3
    const grey = before!.frames[0]![(79 - 20) * 120 + 30]!;
    expect(at(30, 20)).toEqual([grey, grey, grey]); // the star itself is not covered
    expect(at(60, 67)).toEqual([0xf0, 0xa0, 0x20]); // width 3 + 4 beside the middle line
    expect(at(60, 53)).toEqual([0xf0, 0xa0, 0x20]);
    const changed = before!.frames[0]!.filter((value, i) => after!.frames[0]![3 * i] !== value).length;
    expect(changed).toBeLessThan(500);
    expect(marked.text).toContain(
      "rings: 1 star, dashed pairs of lines: 1 streak and hatching: blocked, 17 % of the frame",
    );
  });
});

describe("the stretch", () => {
  const noise = (n: number, seed: number) => {
    const random = randomStream(seed, "sky");
    return Float64Array.from({ length: n }, () => 1000 + 20 * random.normal());
  };

  it("is one rising curve, whatever the values", () => {
    const value = fc.float({ noNaN: true, noDefaultInfinity: true, min: -1e6, max: 1e6 });
    fc.assert(
      fc.property(
        fc.array(value, { minLength: 1, maxLength: 300 }),
        fc.array(value, { minLength: 2 }),
        (values, asked) => {
          const stretch = stretchOf(values);
          const greys = [...asked].sort((a, b) => a - b).map((v) => greyOf(v, stretch));
          for (const [i, grey] of greys.entries()) {
            expect(grey).toBeGreaterThanOrEqual(i === 0 ? 0 : greys[i - 1]!);
            expect(grey).toBeLessThanOrEqual(1);
          }
        },
      ),
      { numRuns: 200 },
    );
    expect(greyOf(Number.NaN, stretchOf([1, 2, 3]))).toBe(0);
    expect(stretchOf([]).whiteAdu).toBeGreaterThan(stretchOf([]).blackAdu);
  });

  it("takes the sky from the frame and gives it its grey; black is three times the noise below", () => {
    const stretch = stretchOf(noise(30_000, 7));
    expect(Math.abs(stretch.skyAdu - 1000)).toBeLessThan(1);
    expect(Math.abs((stretch.skyAdu - stretch.blackAdu) / 60 - 1)).toBeLessThan(0.05);
    expect(greyOf(stretch.skyAdu, stretch)).toBeCloseTo(skyGrey, 6);
  });

  it("is hardly moved by bright stars, a nebula over a third of the frame, dead and wild pixels", () => {
    const sky = noise(30_000, 7);
    const clean = stretchOf(sky);
    // A share f of brighter values moves the median to the quantile 0.5 / (1 - f) of the sky: 0.026 sigma for a fiftieth,
    // 0.674 sigma (13.5 ADU) for a third; black then lies 3 x (0.674 + 0.713) sigma below, 9.8 ADU lower than without.
    for (const [name, skyMoves, blackMoves, spoil] of [
      ["stars", 1, 3, (v: number, i: number) => (i % 50 === 0 ? v + 30_000 : v)],
      ["nebula", 14.5, 12, (v: number, i: number) => (i % 3 === 0 ? v + 200 : v)],
      ["wild", 1, 3, (v: number, i: number) => (i % 900 === 0 ? 1e9 : i % 901 === 0 ? -1e9 : v)],
      ["no values", 1, 3, (v: number, i: number) => (i % 4 === 0 ? Number.NaN : v)],
    ] as const) {
      const { skyAdu, blackAdu } = stretchOf(sky.map(spoil));
      expect(Math.abs(skyAdu - clean.skyAdu), name).toBeLessThan(skyMoves);
      expect(Math.abs(blackAdu - clean.blackAdu), name).toBeLessThan(blackMoves);
    }
  });

  it("when shared keeps the order of skies, the brightest below white", () => {
    const own = [0, 0, 0, 900].map((more, i) => stretchOf(noise(5000, i).map((v) => v + more)));
    const shared = commonStretch(own);
    const greys = own.map(({ skyAdu }) => greyOf(skyAdu, shared));
    expect(greys[3]).toBeGreaterThan(0.5);
    expect(greys[3]).toBeLessThan(1);
    expect(greys[0]).toBeCloseTo(skyGrey, 1);
  });
});

describe("making a frame smaller", () => {
  const ramp = { width: 24, height: 8, values: Float64Array.from({ length: 192 }, (_, i) => i) };

  it("takes plain means of squares", () => {
    const { by, width, height, channels } = reduceFrame(ramp, { widthPx: 12 });
    expect([by, width, height]).toEqual([2, 12, 4]);
    expect(channels[0]![0]).toBe((0 + 1 + 24 + 25) / 4);
    expect(channels[0]![12 + 1]).toBe((50 + 51 + 74 + 75) / 4);
    const holes = {
      ...ramp,
      values: ramp.values.map((v) => (v === 0 || (v >= 2 && v < 4) || v === 26 || v === 27 ? Number.NaN : v)),
    };
    const reduced = reduceFrame(holes, { widthPx: 12 }).channels[0]!;
    expect(reduced[0]).toBeCloseTo((1 + 24 + 25) / 3, 5);
    expect(reduced[1]).toBeNaN();
    expect(framePicture(holes, { widthPx: 12 }).text).toContain("2.1 % of the picture has no values and is black");
  });

  it("adds whole cells of a mosaic to grey, or keeps red, green and blue as recorded", () => {
    // GBRG: green and blue in the first row.
    const values = Float64Array.from({ length: 192 }, (_, i) => {
      const [x, y] = [i % 24, Math.floor(i / 24)];
      return y % 2 === 0 ? (x % 2 === 0 ? 100 : 7) : x % 2 === 0 ? 40 : 120;
    });
    const frame = { width: 24, height: 8, values };
    const grey = reduceFrame(frame, { widthPx: 24, bayer: "GBRG" });
    expect(grey.by).toBe(2);
    expect(new Set(grey.channels[0])).toEqual(new Set([(100 + 7 + 40 + 120) / 4]));
    const colour = reduceFrame(frame, { widthPx: 9, bayer: "gbrg ", colour: true });
    expect(colour.by).toBe(4);
    expect(colour.channels.map((channel) => channel[0])).toEqual([40, 110, 7]);
    expect(framePicture(frame, { bayer: "GBRG" }).text).toContain(
      "in grey: each pixel of the picture is the mean of 2",
    );
    expect(framePicture(frame, { bayer: "GBRG", colour: true }).text).toContain("without white balance");
  });

  it("lays a moved and turned sub on its reference", () => {
    // Where the reference has a star at (x, y) from its middle, the sub has it turned by 30 degrees and shifted.
    const [width, height] = [101, 81];
    const places = [
      [20, 10],
      [-25, 15],
      [5, -30],
    ] as const;
    const draw = (move: (x: number, y: number) => readonly [number, number]) => {
      const values = new Float32Array(width * height).fill(10);
      for (const [x, y] of places) {
        const [px, py] = move(x, y);
        for (let j = -1; j <= 1; j++)
          for (let i = -1; i <= 1; i++) values[(Math.round(py) + 40 + j) * width + Math.round(px) + 50 + i] = 500;
      }
      return { width, height, values };
    };
    const [c, s] = [Math.cos(Math.PI / 6), Math.sin(Math.PI / 6)];
    const sub = draw((x, y) => [x * c - y * s + 4, x * s + y * c - 3]);
    const placement = { shiftXPx: 4, shiftYPx: -3, rotationDeg: 30 };
    const laid = reduceFrame(sub, { widthPx: 101, placement }).channels[0]!;
    for (const [x, y] of places) expect(laid[(y + 40) * width + x + 50]).toBe(500);
    expect(laid.filter((v) => v === 500).length).toBeGreaterThan(20);
    expect(laid[0]).toBeNaN(); // turned out of the frame
  });
});

const nights = fileURLToPath(new URL("../../sample-data/nights/2025-10-18/", import.meta.url));
const open = (file: string): PixelReader => {
  const image = firstImage(openFile(join(nights, file)));
  return openPixels(image.source, image.hdu);
};
const readable = readdirSync(nights).filter((file) => file.includes("_L_30s_") && !file.includes("0010"));

describe("sheets and sequences of the sample night", () => {
  it("twelve subs take less than 60 KB, with verdict and reasons under each", () => {
    const sheet = contactSheet(
      readable.slice(0, 12).map((file, i) => ({
        frame: open(file),
        file,
        verdict: i === 0 ? "drop" : "keep",
        symptoms: i === 0 ? [{ code: "few-stars", column: "starCount", value: 40, expected: 200, limit: 120 }] : [],
      })),
    );
    console.log(`contact sheet of 12 subs: ${(sheet.html.length / 1000).toFixed(1)} KB`);
    expect(sheet.html.length).toBeLessThan(60_000);
    expect(sheet.html.split("<img ").length - 1).toBe(12);
    expect(sheet.html).toContain("\u2716 drop</b>");
    expect(sheet.text).toContain("40 stars, 200 expected, limit 120");
    expect(sheet.html).toContain("40 stars, 200 expected, limit 120");
  });

  it("names in files break neither a sheet nor a sequence", () => {
    const frame = { width: 32, height: 16, values: new Float32Array(512) };
    const items = hostileNames.map(
      (file) => ({ frame, file, verdict: "keep", symptoms: [], about: file, group: file }) as const,
    );
    for (const html of [contactSheet(items).html, blinkPicture(items).html]) {
      expect(html).not.toMatch(/<script|<img src=x|<!--|<b>&amp; \$/);
      expect([...html.matchAll(/<img /g)].length).toBe([...html.matchAll(/<img src="data:image\/png;base64,/g)].length);
    }
  });

  it("stars that measuring finds are where the rings are", () => {
    const reader = open(readable[0]!);
    const { stars } = measureFrame(reader);
    const { channels } = reduceFrame(reader, { widthPx: reader.width });
    const brightest = Array.from(
      { length: 10 },
      (_, i) => channels[0]![Math.round(stars.yPx[i]!) * reader.width + Math.round(stars.xPx[i]!)]!,
    );
    const { skyAdu, blackAdu } = stretchOf(channels[0]!);
    for (const value of brightest) expect(value).toBeGreaterThan(skyAdu + 5 * (skyAdu - blackAdu));
    expect(framePicture(reader, { marks: { stars, streaks: [] } }).text).toContain("no streak was found");
  });

  it("notebooks get a picture as a picture, a sheet and a chart as HTML and words", async () => {
    const picture = framePicture(open(readable[0]!), { widthPx: 100 });
    const bundle = await mimeBundle(picture);
    expect(Buffer.from(String(bundle["image/png"]), "base64").equals(Buffer.from(picture.png))).toBe(true);
    expect(bundle["text/plain"]).toBe(picture.text);
    const shown = await mimeBundle(chart(timelineFigure(hostileNight())!, { title: "The night" }));
    expect(Object.keys(shown).sort()).toEqual(["application/vnd.plotly.v1+json", "text/html", "text/plain"]);
  });
});

describe.skipIf(!hasZlib)(`still charts read by Python${hasZlib ? "" : ` (${withoutPython("xml")})`}`, () => {
  it("are well-formed XML, also with hostile names, and draw every sub", () => {
    const night = hostileNight();
    const path = join(folder, "chart.svg");
    writeFileSync(path, chart(timelineFigure(night)!, { title: hostileNames[2] }).svg);
    const script = `
import sys, xml.etree.ElementTree as E
root = E.parse(sys.argv[1]).getroot(); tags = [e.tag.split('}')[1] for e in root.iter()]
marks = [g for g in root.iter('{http://www.w3.org/2000/svg}g')]
print(tags.count('script'), tags.count('image'), sum(len(g) for g in marks))`;
    const ended = spawnSync(python, ["-c", script, path], { encoding: "utf8" });
    expect(ended.stderr).toBe("");
    const [scripts, images, marks] = ended.stdout.trim().split(" ").map(Number);
    expect([scripts, images]).toEqual([0, 0]);
    expect(marks).toBe(night.table.kind.filter((kind) => kind === "light").length);
  });
});

describe.skipIf(!hasChromium)(`in a browser${withoutChromium}`, () => {
  it("a sequence plays: every picture, its time, its pixels", async () => {
    const frames = [0, 1, 2].map((n) => ({
      frame: {
        width: 40,
        height: 30,
        values: Float32Array.from({ length: 1200 }, (_, i) => (i === 600 + n ? 5000 : 100 + (scramble(i) % 4))),
      },
      file: `sub ${n}`,
    }));
    const { png, width, height } = blinkPicture(frames, { delayMs: 250 });
    const decode = `(async () => {
      const bytes = Uint8Array.from(atob("${Buffer.from(png).toString("base64")}"), (c) => c.charCodeAt(0));
      const decoder = new ImageDecoder({ data: bytes, type: "image/png" }); await decoder.tracks.ready; await decoder.completed;
      const result = { frames: decoder.tracks.selectedTrack.frameCount, loops: String(decoder.tracks.selectedTrack.repetitionCount), whites: [], ms: [] };
      for (let i = 0; i < result.frames; i++) { const { image } = await decoder.decode({ frameIndex: i });
        const canvas = new OffscreenCanvas(image.displayWidth, image.displayHeight), context = canvas.getContext("2d"); context.drawImage(image, 0, 0);
        result.size = [canvas.width, canvas.height]; result.ms.push(image.duration / 1000);
        result.whites.push(context.getImageData(0, 29 - 15, 40, 1).data.filter((_, k) => k % 4 === 0).indexOf(255)); }
      return result; })()`;
    const path = join(folder, "blink.html");
    writeFileSync(path, "<!doctype html><title>blink</title>");
    const browser = new Browser();
    const seen = await browser
      .open(pathToFileURL(path).href)
      .then((page) => page.evaluate<unknown>(decode))
      .finally(() => browser.close());
    expect(seen).toEqual({
      frames: 3,
      loops: "Infinity",
      whites: [0, 1, 2],
      ms: [250, 250, 250],
      size: [width, height],
    });
  });
});
