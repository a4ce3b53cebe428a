import { readFileSync } from "node:fs";
import { createRequire } from "node:module";

let script: string | undefined;

/**
 * The chart library's source, to be put into a page so that it opens without a network. What would end or confuse the
 * script element is escaped; in the library both stand in strings and comments only, where the backslash means nothing.
 */
export function plotlyScript(): string {
  script ??= readFileSync(createRequire(import.meta.url).resolve("plotly.js-dist-min"), "utf8")
    .replace(/<\/script/gi, (tag) => `<\\${tag.slice(1)}`)
    .replaceAll("<!--", "<\\!--");
  return script;
}
