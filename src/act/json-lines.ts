/**
 * Where JSON text stops being JSON.
 * @returns line and column from 1 and what was expected there; null when the text is JSON
 */
export function jsonFault(text: string): { line: number; column: number; expected: string } | null {
  try {
    JSON.parse(text);
    return null;
  } catch {
    // JSON.parse does not always tell the place, so it is looked for below.
  }
  const scan = new Scan(text);
  const expected = scan.value() ?? (scan.atEnd() ? "JSON" : "nothing more after the end");
  const before = text.slice(0, scan.at).split("\n");
  return { line: before.length, column: before.at(-1)!.length + 1, expected };
}

/** The line, from 1, on which the n-th object of the first list in a JSON text begins; 1 when there is none. */
export function lineOfListed(json: string, n: number): number {
  let depth = 0;
  let seen = 0;
  const list = json.indexOf("[");
  for (let at = Math.max(list, 0); at < json.length; at++) {
    const char = json[at]!;
    if (char === '"') at = endOfString(json, at);
    else if ((char === "{" || char === "[") && depth++ === 1 && seen++ === n)
      return json.slice(0, at).split("\n").length;
    else if (char === "}" || char === "]") depth--;
  }
  return 1;
}

function endOfString(text: string, start: number): number {
  let at = start + 1;
  while (at < text.length && text[at] !== '"') at += text[at] === "\\" ? 2 : 1;
  return at;
}

/** A reader of JSON that only finds the first fault: each method gives what it expected, or null when all was well. */
class Scan {
  at = 0;
  readonly text: string;

  constructor(text: string) {
    this.text = text;
  }

  atEnd(): boolean {
    this.space();
    return this.at >= this.text.length;
  }

  value(): string | null {
    this.space();
    const char = this.text[this.at];
    if (char === "{") return this.members("}", () => this.string() ?? this.mark(":") ?? this.value());
    if (char === "[") return this.members("]", () => this.value());
    if (char === '"') return this.string();
    return this.token(/true|false|null|-?(?:0|[1-9]\d*)(?:\.\d+)?(?:[eE][+-]?\d+)?/y, "a value");
  }

  private members(close: string, member: () => string | null): string | null {
    this.at++;
    this.space();
    if (this.text[this.at] === close) {
      this.at++;
      return null;
    }
    for (;;) {
      const fault = member();
      if (fault !== null) return fault;
      this.space();
      const char = this.text[this.at];
      if (char !== "," && char !== close) return `',' or '${close}'`;
      this.at++;
      if (char === close) return null;
    }
  }

  private string(): string | null {
    this.space();
    return this.token(/"(?:[^"\\\n\r\t]|\\(?:["\\/bfnrt]|u[0-9a-fA-F]{4}))*"/y, "a text in double quotes");
  }

  private mark(char: string): string | null {
    this.space();
    if (this.text[this.at] !== char) return `'${char}'`;
    this.at++;
    return null;
  }

  private token(pattern: RegExp, expected: string): string | null {
    pattern.lastIndex = this.at;
    const found = pattern.exec(this.text);
    if (found === null) return expected;
    this.at = pattern.lastIndex;
    return null;
  }

  private space(): void {
    while (/[ \t\r\n]/.test(this.text[this.at] ?? "")) this.at++;
  }
}
