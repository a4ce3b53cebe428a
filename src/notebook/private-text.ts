import { dialects } from "../read/dialects.js";
import { isJsonMime, isObject, type Json, type MimeBundle, type Notebook, tagsOf } from "./notebook-shape.js";

// A path from the root with at least one folder in it; not the path of a web address, not a fraction, not a closing tag.
const posix =
  /(?<![\w.:/+=<\\~-])(?:~|\/[^\s"'`<>|*?:,;()[\]{}\\/]+)\/(?:[^\s"'`<>|*?:,;()[\]{}\\/]+\/)*([^\s"'`<>|*?:,;()[\]{}\\/]*)/g;
const windows = /(?<![\w])[A-Za-z]:(?:\\\\|\\|\/)(?:[^\s"'`<>|*?:,;\\/]+(?:\\\\|\\|\/))*([^\s"'`<>|*?:,;\\/]*)/g;
const shares = /\\\\(?:[^\s"'`<>|*?:,;\\/]+\\)+([^\s"'`<>|*?:,;\\/]*)/g;
const fileAddress = /\bfile:\/\/[^\s"'`<>]*\/([^\s"'`<>/]*)/g;
const dataAddress = /(data:[\w/+.-]+(?:;[\w=-]+)*,[\w+/=%-]*)/;

/** Text without the way to files of this machine: of an absolute path only the last part stays, behind `.../`. */
export function withoutPaths(text: string, folders: readonly string[] = []): string {
  let known = text;
  // Folders known by name may hold spaces, which a pattern cannot tell from the end of a path.
  for (const folder of [...folders].sort((a, b) => b.length - a.length))
    for (const written of [folder, JSON.stringify(folder).slice(1, -1)])
      if (written.length > 1) known = known.replaceAll(written, "...");
  return known
    .split(dataAddress)
    .map((part, i) =>
      i % 2 === 1
        ? part
        : part
            .replace(fileAddress, "file:.../$1")
            .replace(windows, ".../$1")
            .replace(shares, ".../$1")
            .replace(posix, ".../$1"),
    )
    .join("");
}

/** Coordinates to a tenth of a degree in what a cell declares by a name like site or latitude. */
export function withoutSite(source: string): string {
  return source
    .split("\n")
    .map((line) =>
      /\b(?:const|let|var)\s+\w*(?:site|latitude|longitude|observer)/i.test(line)
        ? line.replace(/(\d+\.\d)\d+/g, "$1")
        : line,
    )
    .join("\n");
}

const placeKeywords = [...dialects.latitude, ...dialects.longitude].join("|");
/** As notes of a row write it where two cards contradict each other, or where the user gave another height. */
const placeInNotes = new RegExp(`\\b((?:${placeKeywords}) )(is )?(-?\\d+\\.\\d)\\d+`, "g");
const heightInNotes = /\b(height of the site given as )-?[\d.]+(, the header says )-?[\d.]+/g;

/** A row's note with coordinates of the observer to a tenth of a degree, and without heights. */
export const noteWithoutSite = (note: string): string =>
  note.replace(placeInNotes, "$1$2$3").replace(heightInNotes, "$1(left out)$2(left out)");

/** A height tells a garden apart from its neighbours; to this many metres it does not. */
const heightStepM = 100;

/**
 * A summary for others: the observer's place and the targets' to a tenth of a degree, height to 100 m, notes without the
 * place.
 */
export function summaryWithoutSite(summary: Json): Json {
  if (!isObject(summary)) return summary;
  const { site, setups } = summary as { readonly [name: string]: Json };
  const tenth = (value: Json) => (typeof value === "number" ? Number(value.toFixed(1)) : value);
  const coarse: Record<string, Json> = {};
  if (isObject(site)) {
    const { latitudeDeg, longitudeDeg, heightM } = site as { readonly [name: string]: Json };
    coarse.site = {
      latitudeDeg: tenth(latitudeDeg ?? null),
      longitudeDeg: tenth(longitudeDeg ?? null),
      heightM: typeof heightM === "number" ? heightStepM * Math.round(heightM / heightStepM) : null,
    };
  }
  if (Array.isArray(setups))
    coarse.setups = setups.map((setup: Json) => {
      const place = isObject(setup) ? (setup.place as Json) : null;
      if (!isObject(setup) || !isObject(place)) return setup;
      const { raDeg, decDeg } = place as { readonly [name: string]: Json };
      return {
        ...(setup as { readonly [name: string]: Json }),
        place: { raDeg: tenth(raDeg!), decDeg: tenth(decDeg!) },
      };
    });
  return inJson({ ...(summary as { readonly [name: string]: Json }), ...coarse }, noteWithoutSite);
}

/** A notebook for others: text in sources and outputs without paths, parameters without the exact place. */
export function privateNotebook(
  notebook: Notebook,
  {
    keepPaths,
    keepSite,
    folders,
  }: { readonly keepPaths: boolean; readonly keepSite: boolean; readonly folders: readonly string[] },
): Notebook {
  const path = (text: string) => (keepPaths ? text : withoutPaths(text, folders));
  const cells = notebook.cells.map((cell) => {
    const isParameters = tagsOf(cell).some((tag) => tag === "parameters" || tag === "injected-parameters");
    const source = path(isParameters && !keepSite ? withoutSite(cell.source) : cell.source);
    if (cell.cell_type !== "code") return { ...cell, source };
    const outputs = cell.outputs.map((output) => {
      if (output.output_type === "stream") return { ...output, text: path(output.text) };
      if (output.output_type === "error")
        return { ...output, evalue: path(output.evalue), traceback: output.traceback.map(path) };
      return { ...output, data: bundleOf(output.data, path) };
    });
    return { ...cell, source, outputs };
  });
  return { ...notebook, cells };
}

const bundleOf = (data: MimeBundle, path: (text: string) => string): MimeBundle =>
  Object.fromEntries(
    Object.entries(data).map(([mime, content]) => [
      mime,
      isJsonMime(mime) || mime.startsWith("text/") || mime === "image/svg+xml" ? inJson(content, path) : content,
    ]),
  );

/** Changes every text in a JSON value. */
export function inJson(value: Json, change: (text: string) => string): Json {
  if (typeof value === "string") return change(value);
  if (Array.isArray(value)) return value.map((item: Json) => inJson(item, change));
  if (!isObject(value)) return value;
  return Object.fromEntries(Object.entries(value).map(([key, item]) => [key, inJson(item as Json, change)]));
}
