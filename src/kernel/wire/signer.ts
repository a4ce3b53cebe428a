import { createHmac, getHashes, timingSafeEqual } from "node:crypto";
import { CannotError } from "../../terms/errors.js";

/** Signs messages and checks signatures. */
export interface Signer {
  sign(parts: readonly Uint8Array[]): string;
  /** True once for a right signature, in a time that does not depend on where a wrong one differs. A replay is false. */
  accepts(parts: readonly Uint8Array[], signature: Uint8Array): boolean;
}

/** How many signatures are remembered, so that a message cannot be sent twice. */
const rememberedSignatures = 65_536;

/**
 * @param key - empty: nothing is signed and everything is accepted
 * @param scheme - "hmac-" and the name of a hash
 * @throws CannotError when the hash is not known here
 */
export function signerFor(key: string, scheme: string): Signer {
  if (key === "") return { sign: () => "", accepts: () => true };
  const hash = scheme.replace(/^hmac-/, "");
  if (!scheme.startsWith("hmac-") || !getHashes().includes(hash))
    throw new CannotError(`Cannot sign messages by '${scheme}'. Use hmac-sha256`);
  const sign = (parts: readonly Uint8Array[]) => {
    const hmac = createHmac(hash, key);
    for (const part of parts) hmac.update(part);
    return hmac.digest("hex");
  };
  const seen = new Set<string>();
  return {
    sign,
    accepts(parts, signature) {
      const text = sign(parts);
      const right = Buffer.from(text);
      if (right.length !== signature.length || !timingSafeEqual(right, signature)) return false;
      if (seen.has(text)) return false;
      seen.add(text);
      if (seen.size > rememberedSignatures) for (const oldest of seen) return seen.delete(oldest);
      return true;
    },
  };
}
