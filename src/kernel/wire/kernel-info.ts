import { type Fields, protocolVersion } from "../messages/message.js";

/**
 * The content of kernel_info_reply.
 * @param version - of this kernel
 * @param languageVersion - of TypeScript
 */
export function kernelInfo(version: string, languageVersion: string): Fields {
  return {
    status: "ok",
    protocol_version: protocolVersion,
    implementation: "nightyield",
    implementation_version: version,
    language_info: {
      name: "typescript",
      version: languageVersion,
      mimetype: "text/typescript",
      file_extension: ".ts",
      pygments_lexer: "typescript",
      codemirror_mode: { name: "javascript", typescript: true, mode: "typescript" },
      nbconvert_exporter: "script",
    },
    banner: `nightyield ${version}: TypeScript ${languageVersion}`,
    help_links: [],
    debugger: false,
  };
}
