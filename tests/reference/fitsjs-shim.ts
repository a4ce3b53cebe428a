// fitsjs 0.6.6 is a browser library of 2013. This gives it just enough of a browser to read a file that is in memory,
// so that it can serve as a second, independent reader in the tests. It is never in the product's path.
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { createContext, runInContext } from "node:vm";

class MemoryBlob {
  readonly parts: readonly unknown[];
  readonly bytes: ArrayBuffer;
  constructor(parts: readonly unknown[]) {
    this.parts = parts;
    this.bytes = parts[0] instanceof ArrayBuffer ? parts[0] : new ArrayBuffer(0);
  }
  get size(): number {
    return this.bytes.byteLength;
  }
  slice(from: number, to?: number): MemoryBlob {
    return new MemoryBlob([this.bytes.slice(from, to)]);
  }
}

class MemoryFileReader {
  result: ArrayBuffer | null = null;
  onloadend: ((event: { target: MemoryFileReader }) => void) | null = null;
  readAsArrayBuffer(blob: MemoryBlob): void {
    setImmediate(() => {
      this.result = blob.bytes;
      this.onloadend?.({ target: this });
    });
  }
}

/** Runs the worker's script in a context of its own; its URLs are keys into `scripts`. */
const scripts = new Map<string, string>();
class InlineWorker {
  onmessage: ((event: { data: unknown }) => void) | null = null;
  readonly #scope: Record<string, unknown>;
  constructor(url: string) {
    const scope = createContext({
      postMessage: (data: unknown) => setImmediate(() => this.onmessage?.({ data })),
      importScripts: (other: string) => runInContext(scripts.get(other)!, scope),
      // Buffers that come from outside must be recognised by the arrays made within.
      ArrayBuffer,
      Uint8Array,
      Uint16Array,
      Uint32Array,
      Int16Array,
      Int32Array,
      Float32Array,
      parseInt,
      Math,
    });
    this.#scope = scope;
    runInContext(scripts.get(url)!, scope);
  }
  postMessage(data: unknown): void {
    setImmediate(() => (this.#scope.onmessage as (event: { data: unknown }) => void)({ data }));
  }
  terminate(): void {}
}

interface FitsjsHeader {
  get(keyword: string): unknown;
}
interface FitsjsHdu {
  readonly header: FitsjsHeader;
  readonly data?: { getFrame(frame: number, done: (pixels: ArrayLike<number>) => void): void };
}

function load(): { new (file: MemoryBlob, done: (fits: { hdus: FitsjsHdu[] }) => void): unknown } {
  const url = {
    createObjectURL(blob: MemoryBlob): string {
      const key = `script ${scripts.size}`;
      scripts.set(key, String(blob.parts[0]));
      return key;
    },
    revokeObjectURL: () => {},
  };
  const scope = createContext({
    File: MemoryBlob,
    Blob: MemoryBlob,
    FileReader: MemoryFileReader,
    Worker: InlineWorker,
    window: { URL: url },
    console,
    ArrayBuffer,
    DataView,
    Uint8Array,
    Uint16Array,
    Uint32Array,
    Int16Array,
    Int32Array,
    Float32Array,
    Float64Array,
  });
  runInContext(readFileSync(createRequire(import.meta.url).resolve("fitsjs"), "utf8"), scope);
  return (scope as unknown as { astro: { FITS: ReturnType<typeof load> } }).astro.FITS;
}

/** Pixels of an HDU as fitsjs reads them. */
export function fitsjsPixels(bytes: Uint8Array, hdu: number): Promise<ArrayLike<number>> {
  const Fits = load();
  const copy = bytes.slice().buffer as ArrayBuffer;
  return new Promise((done, fail) => {
    new Fits(new MemoryBlob([copy]), ({ hdus }) => {
      const { data } = hdus[hdu]!;
      if (data === undefined) fail(new Error(`fitsjs finds no data in HDU ${hdu}`));
      else data.getFrame(0, done);
    });
  });
}
