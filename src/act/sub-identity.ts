/** What a sub is known by, so that a decision finds it again in another run. */
export interface SubIdentity {
  /** As named in the frame table. */
  readonly file: string;
  /** Absent: any size fits (decisions written by hand). */
  readonly sizeBytes?: number;
  /** Key of the content (measure/content-key.ts), which renaming and moving leave alone. */
  readonly contentKey?: string;
}

/** Finds the sub that an identity means. By content where both know it, else by name and size. */
export function identityIndex(subs: readonly SubIdentity[]): (wanted: SubIdentity) => number[] {
  const byKey = new Map<string, number[]>();
  const byFile = new Map<string, number[]>();
  const put = (map: Map<string, number[]>, key: string, row: number) => {
    const rows = map.get(key);
    if (rows === undefined) map.set(key, [row]);
    else rows.push(row);
  };
  subs.forEach(({ file, contentKey }, row) => {
    put(byFile, file, row);
    if (contentKey !== undefined) put(byKey, contentKey, row);
  });
  return ({ file, sizeBytes, contentKey }) => {
    const sameContent = contentKey === undefined ? [] : (byKey.get(contentKey) ?? []);
    if (sameContent.length > 0) {
      // Copies of one sub: the one with the name that was marked, else all of them.
      const named = sameContent.filter((row) => subs[row]!.file === file);
      return named.length > 0 ? named : sameContent;
    }
    return (byFile.get(file) ?? []).filter((row) => {
      const sub = subs[row]!;
      if (contentKey !== undefined && sub.contentKey !== undefined) return false; // another content under the old name
      return sizeBytes === undefined || sub.sizeBytes === undefined || sub.sizeBytes === sizeBytes;
    });
  };
}
