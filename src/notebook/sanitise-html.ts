import { escapeHtml } from "../show/html.js";

const allowed = new Set(
  (
    "a abbr b blockquote br caption code col colgroup dd del details div dl dt em figcaption figure h1 h2 h3 h4 h5 h6 hr " +
    "i img ins kbd li mark ol p pre s samp section small span strong sub summary sup table tbody td tfoot th thead tr u ul " +
    "var svg g path circle ellipse line polyline polygon rect text tspan title desc"
  ).split(" "),
);
const empty = new Set(["br", "col", "hr", "img"]);
/** Elements whose content is no text to be read: they go whole. */
const dropped = new Set("script style iframe object embed noscript template textarea select math form head".split(" "));
const attributes = new Set(
  (
    "align alt aria-hidden aria-label class colspan cx cy d dx dy fill fill-opacity font-size height href id lang open " +
    "opacity points r role rowspan rx ry scope span src start stroke stroke-dasharray stroke-linecap stroke-width style " +
    "tabindex text-anchor title transform viewbox width x x1 x2 y y1 y2"
  ).split(" "),
);
const pieces = /<!--[\s\S]*?(?:-->|$)|<(\/?)([a-z][a-z0-9]*)\b((?:"[^"]*"|'[^']*'|[^"'>])*)>|<|[^<]+/gi;

/**
 * The harmless part of HTML that a cell put out: tables, text, drawings and embedded pictures. Scripts, style sheets,
 * frames, forms, handlers and everything that would be loaded are left out; elements are closed in order, so that the
 * rest of the page is not touched.
 */
export function sanitiseHtml(html: string): string {
  const open: string[] = [];
  let result = "";
  let skipping: string | null = null;
  for (const [piece, slash, name, attributesText] of html.matchAll(pieces)) {
    const tag = name?.toLowerCase();
    if (skipping !== null) {
      if (slash === "/" && tag === skipping) skipping = null;
      continue;
    }
    if (tag === undefined) {
      if (!piece.startsWith("<!--")) result += textHtml(piece);
    } else if (dropped.has(tag)) {
      if (slash === "") skipping = tag;
    } else if (allowed.has(tag)) {
      if (slash === "/") {
        const at = open.lastIndexOf(tag);
        if (at >= 0) for (const each of open.splice(at).reverse()) result += `</${each}>`;
      } else {
        result += `<${tag}${attributesHtml(tag, attributesText ?? "")}>`;
        if (!empty.has(tag)) open.push(tag);
      }
    }
  }
  for (const each of open.reverse()) result += `</${each}>`;
  return result;
}

/** Entities stay what they are; a lone `<` or `&` becomes text. */
const textHtml = (text: string) =>
  text
    .replace(/&(?!(?:[a-z][a-z0-9]*|#\d+|#x[\da-f]+);)/gi, "&amp;")
    .replaceAll("<", "&lt;")
    .replaceAll(">", "&gt;");

function attributesHtml(tag: string, text: string): string {
  let result = "";
  for (const [, name, double, single, bare] of text.matchAll(
    /([^\s"'=<>/]+)(?:\s*=\s*(?:"([^"]*)"|'([^']*)'|([^\s"'<>]+)))?/g,
  )) {
    const key = name!.toLowerCase();
    const value = decoded(double ?? single ?? bare ?? "");
    if (attributes.has(key) && isHarmless(tag, key, value)) result += ` ${key}="${escapeHtml(value)}"`;
  }
  return result;
}

function isHarmless(tag: string, key: string, value: string): boolean {
  if (key === "src") return tag === "img" && /^data:image\/(?:png|jpeg|gif|webp|svg\+xml)[;,]/i.test(value);
  if (key === "href") return tag === "a" && /^(?:https?:\/\/|mailto:|#)/i.test(value);
  // A style may colour and align. What it could load or lay over the page is left out.
  if (key === "style") return !/url\s*\(|expression|@import|position\s*:|[\\<]/i.test(value);
  return !/^\s*(?:javascript|data|vbscript):/i.test(value);
}

const names: Readonly<Record<string, string>> = { amp: "&", lt: "<", gt: ">", quot: '"', apos: "'", nbsp: "\u00a0" };
const decoded = (value: string): string =>
  value.replace(/&(?:#x([\da-f]{1,6})|#(\d{1,7})|([a-z]+));?/gi, (entity, hex, decimal, name) => {
    if (name !== undefined) return names[name.toLowerCase()] ?? entity;
    const code = hex === undefined ? Number(decimal) : Number.parseInt(hex, 16);
    return code <= 0x10ffff ? String.fromCodePoint(code) : "\ufffd";
  });
