import { dataAddress } from "./frame-picture.js";
import { escapeHtml, proseHtml } from "./html.js";
import type { ReportPictures } from "./report-pictures.js";
import { verdictLooks } from "./verdict-look.js";

/** Pictures of the worst and borderline subs; empty without pictures. */
export function picturesSection({ pictures, note }: ReportPictures): string {
  if (pictures.length === 0)
    return note === "" ? "" : `<section><h2>Subs to look at</h2><p class="soft">${escapeHtml(note)}</p></section>`;
  const figures = pictures.map(({ png, width, height, file, verdict, lines, alt }) => {
    const name = escapeHtml(file).replace(/[/_]/g, "$&<wbr>");
    const below = lines.map((line) => `<li>${proseHtml(line)}</li>`).join("");
    return `<figure class="sub"><img src="${dataAddress(png)}" width="${width}" height="${height}" alt="${escapeHtml(alt)}" loading="lazy" decoding="async"><figcaption><b class="${verdict}">${verdictLooks[verdict].sign} ${verdict}</b> <span class="name">${name}</span><ul>${below}</ul></figcaption></figure>`;
  });
  return `<section><h2>Subs to look at</h2>
<p class="soft">Of each group a good sub to compare with, the worst of every cause, and borderline ones. ${proseHtml(note)}</p>
<div class="subs-pictured">${figures.join("\n")}</div></section>`;
}
