// Holds GLB files against glTF 2.0 with the validator of its makers. Exits with 1 at any error, warning or hint of
// something unused.

import { readFileSync } from "node:fs";
import { createRequire } from "node:module";

const validator = createRequire(`${process.cwd()}/`)("gltf-validator");
const files = process.argv.slice(2);
let bad = files.length === 0;
for (const file of files) {
  const { issues, info } = await validator.validateBytes(new Uint8Array(readFileSync(file)), {
    uri: file,
    maxIssues: 0,
    externalResourceFunction: async (uri) => {
      throw new Error(`${uri} lies outside of the file`);
    },
  });
  console.log(`${file}: ${issues.messages.length} issues, ${info.totalTriangleCount} triangles`);
  for (const { severity, code, message, pointer } of issues.messages)
    console.log(`  ${["error", "warning", "note", "hint"][severity]} ${code} at ${pointer}: ${message}`);
  bad ||= issues.messages.length > 0;
}
process.exit(bad ? 1 : 0);
