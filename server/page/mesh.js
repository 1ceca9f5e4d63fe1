// A model's surface from the parts that the service sends, straight into arrays for drawing: a scan has a
// million corners, and an object for each would take the browser's breath away.

import { Reader } from "./protobuf.js";

// Fields of TriangleMesh, Point and Triangle (geometry.proto); the table of messages has the same.
const VERTICES = 1;
const TRIANGLES = 2;

function eachPart(parts, what, read) {
  for (const bytes of parts) {
    const reader = new Reader(bytes);
    while (reader.at < bytes.length) {
      const tag = reader.varint();
      if (tag >>> 3 !== what || (tag & 7) !== 2) {
        reader.skip(tag & 7);
        continue;
      }
      const length = reader.varint();
      const end = reader.take(length) + length;
      reader.at = end - length;
      read(reader, end);
      reader.at = end;
    }
  }
}

// Corners (three numbers each, mm) and triangles (three numbers of corners each).
export function meshOfParts(parts) {
  let [corners, triangles] = [0, 0];
  eachPart(parts, VERTICES, () => {
    corners += 1;
  });
  eachPart(parts, TRIANGLES, () => {
    triangles += 1;
  });
  const positions = new Float32Array(3 * corners);
  const faces = new Uint32Array(3 * triangles);
  let at = 0;
  eachPart(parts, VERTICES, (reader, end) => {
    while (reader.at < end) {
      const tag = reader.varint();
      const axis = (tag >>> 3) - 1;
      if ((tag & 7) === 1 && axis < 3) {
        positions[at + axis] = reader.view.getFloat64(reader.take(8), true);
      } else reader.skip(tag & 7);
    }
    at += 3;
  });
  at = 0;
  eachPart(parts, TRIANGLES, (reader, end) => {
    while (reader.at < end) {
      const tag = reader.varint();
      const corner = (tag >>> 3) - 1;
      if ((tag & 7) === 0 && corner < 3) faces[at + corner] = reader.varint();
      else reader.skip(tag & 7);
    }
    at += 3;
  });
  return { positions, faces };
}
