/** Something that is on display and can be changed there. */
export interface Shown {
  /** Shows something else in the same place. */
  update(value: unknown): void;
}

/** A bar that shows how far a long task is. */
export interface Progress {
  /** Some more is done; one item unless said otherwise. */
  step(items?: number): void;
  end(): void;
}

/** A line of its own between a cell and what shows its result in the client. */
export interface Comm {
  readonly id: string;
  readonly target: string;
  send(data: Readonly<Record<string, unknown>>, buffers?: readonly Uint8Array[]): void;
  close(data?: Readonly<Record<string, unknown>>): void;
  onMessage?: (data: Readonly<Record<string, unknown>>, buffers: readonly Uint8Array[]) => unknown;
  onClose?: (data: Readonly<Record<string, unknown>>) => unknown;
}

/** What every cell can use without importing it. */
export interface NotebookGlobals {
  show(value: unknown): Shown;
  display(
    bundle: Readonly<Record<string, unknown>>,
    options?: { readonly id?: string; readonly metadata?: Readonly<Record<string, unknown>> },
  ): Shown;
  progress<T>(items: readonly T[], label?: string): Iterable<T>;
  progress(total: number, label?: string): Progress;
  clearOutput(options?: { readonly wait?: boolean }): void;
  input(prompt?: string, options?: { readonly password?: boolean }): Promise<string>;
  page(value: unknown): void;
  comms: {
    register(target: string, opened: (comm: Comm, data: Readonly<Record<string, unknown>>) => unknown): void;
    open(target: string, data?: Readonly<Record<string, unknown>>): Comm;
  };
}

const descriptions: Readonly<Record<keyof NotebookGlobals, string>> = {
  show: "Shows a value as its kind is best seen: table, chart, picture or text. `update` on what it gives changes it in place.",
  display:
    'Shows a bundle of media types, for example `{ "text/html": "<b>40 subs</b>" }`. The same id again changes it in place.',
  progress:
    "A bar with rate and time left: `for (const file of progress(files)) ...`, or `progress(200)` and `step()` on it.",
  clearOutput: "Takes away what the cell has shown. With `wait` only when something new comes.",
  input: "Asks the reader for a line of text.",
  page: "Shows a value in the client's pager, apart from the notebook.",
  comms: "Lines between cells and widgets in the client.",
};

const thisModule = "../show/notebook-globals.js";

/** A module that declares them to the compiler. It lies in the folder `engine`. */
export function globalsText(): string {
  const lines = Object.entries(descriptions).map(
    ([name, text]) => `/** ${text} */ const ${name}: NotebookGlobals["${name}"];`,
  );
  return `import type { NotebookGlobals } from "${thisModule}";\ndeclare global {\n${lines.join("\n")}\n}`;
}
