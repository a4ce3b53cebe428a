import type { Fields } from "./message.js";

interface Entry {
  readonly session: number;
  readonly line: number;
  readonly code: string;
  output?: string;
}

const currentSession = 1;
const mostEntries = 10_000;

/** What was executed in this session. Nothing is kept on disk. */
export class History {
  readonly #entries: Entry[] = [];

  add(line: number, code: string): void {
    this.#entries.push({ session: currentSession, line, code });
    if (this.#entries.length > mostEntries) this.#entries.shift();
  }

  /** The text of the newest entry's result. */
  setOutput(text: string): void {
    const last = this.#entries.at(-1);
    if (last !== undefined) last.output = text;
  }

  /** The `history` of a history_reply for the content of a history_request. */
  answer(request: Fields): unknown[] {
    const count = typeof request.n === "number" && request.n >= 0 ? request.n : undefined;
    let found = this.#entries;
    if (request.hist_access_type === "range") {
      const session = typeof request.session === "number" && request.session > 0 ? request.session : currentSession;
      const start = typeof request.start === "number" ? request.start : 0;
      const stop = typeof request.stop === "number" ? request.stop : Number.POSITIVE_INFINITY;
      found = found.filter((entry) => entry.session === session && entry.line >= start && entry.line < stop);
    } else {
      if (request.hist_access_type === "search") {
        const pattern = globPattern(typeof request.pattern === "string" ? request.pattern : "*");
        found = found.filter(({ code }) => pattern.test(code));
        if (request.unique === true) found = [...new Map(found.map((entry) => [entry.code, entry])).values()];
      }
      if (count !== undefined) found = count === 0 ? [] : found.slice(-count);
    }
    return found.map(({ session, line, code, output }) =>
      request.output === true ? [session, line, [code, output ?? null]] : [session, line, code],
    );
  }
}

/** `*` any text, `?` one character, as in names of files. */
function globPattern(glob: string): RegExp {
  const parts = [...glob].map((c) =>
    c === "*" ? "[\\s\\S]*" : c === "?" ? "[\\s\\S]" : c.replace(/[.+^${}()|[\]\\/-]/g, "\\$&"),
  );
  return new RegExp(`^${parts.join("")}$`, "u");
}
