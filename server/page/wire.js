// gRPC-Web over fetch (gRPC's PROTOCOL-WEB.md): messages in frames of five bytes and their content; the last
// frame holds the trailers, where the outcome stands.

import { decode } from "./protobuf.js";

const names = [
  "OK",
  "CANCELLED",
  "UNKNOWN",
  "INVALID_ARGUMENT",
  "DEADLINE_EXCEEDED",
  "NOT_FOUND",
  "ALREADY_EXISTS",
  "PERMISSION_DENIED",
  "RESOURCE_EXHAUSTED",
  "FAILED_PRECONDITION",
  "ABORTED",
  "OUT_OF_RANGE",
  "UNIMPLEMENTED",
  "INTERNAL",
  "UNAVAILABLE",
  "DATA_LOSS",
  "UNAUTHENTICATED",
];

// A call that did not come off. `fields` are what is wrong with the request, field by field.
export class Refusal extends Error {
  constructor(code, words, details = []) {
    super(words || "the service gave no reason");
    this.code = names[code] ?? `CODE_${code}`;
    this.reason = "";
    this.fields = [];
    for (const { typeUrl, value } of details) {
      const type = typeUrl.split("/").pop();
      if (type === "google.rpc.ErrorInfo") this.reason = decode(type, value).reason;
      if (type === "google.rpc.BadRequest") this.fields = decode(type, value).fieldViolations;
    }
  }
}

// A frame's head: no trailers, and how long it is.
export function frameHead(length) {
  const head = new Uint8Array(5);
  new DataView(head.buffer).setUint32(1, length);
  return head;
}

function fromBase64(text) {
  const binary = atob(text.replace(/-/g, "+").replace(/_/g, "/").replace(/=+$/, ""));
  return Uint8Array.from(binary, (letter) => letter.charCodeAt(0));
}

// The outcome that trailers or headers tell; undefined where they tell none.
function outcome(get) {
  const status = get("grpc-status");
  if (status === null || status === undefined) return undefined;
  if (Number(status) === 0) return null;
  let words = get("grpc-message") ?? "";
  try {
    words = decodeURIComponent(words);
  } catch {
    // Not percent-encoded: taken as it stands.
  }
  const bytes = get("grpc-status-details-bin");
  const details = bytes ? decode("google.rpc.Status", fromBase64(bytes)).details : [];
  return new Refusal(Number(status), words, details);
}

function trailers(bytes) {
  const lines = new TextDecoder()
    .decode(bytes)
    .split("\r\n")
    .filter((line) => line.includes(":"));
  const pairs = lines.map((line) => {
    const colon = line.indexOf(":");
    return [line.slice(0, colon).trim().toLowerCase(), line.slice(colon + 1).trim()];
  });
  return new Map(pairs);
}

// Sends a body of frames and hands on the content of each frame that comes. Throws a Refusal where the
// service says no, or where nobody answers.
export async function* call(path, body, { token, signal } = {}) {
  const headers = { "content-type": "application/grpc-web+proto", "x-grpc-web": "1" };
  if (token) headers.authorization = `Bearer ${token}`;
  let response;
  try {
    response = await fetch(path, { method: "POST", headers, body, signal });
  } catch (error) {
    if (signal?.aborted) throw error;
    throw new Refusal(14, "The service does not answer. Is it running?");
  }
  const early = outcome((name) => response.headers.get(name));
  if (early) throw early;
  if (!response.ok) throw new Refusal(14, `The service answered with HTTP ${response.status}.`);
  let held = new Uint8Array();
  const reader = response.body.getReader();
  try {
    for (;;) {
      let piece;
      try {
        piece = await reader.read();
      } catch (error) {
        if (signal?.aborted) throw error;
        throw new Refusal(14, "The connection to the service broke.");
      }
      if (piece.done) break;
      held = joined(held, piece.value);
      let at = 0;
      while (held.length - at >= 5) {
        const length = new DataView(held.buffer, held.byteOffset + at + 1, 4).getUint32(0);
        if (held.length - at - 5 < length) break;
        const content = held.subarray(at + 5, at + 5 + length);
        at += 5 + length;
        if ((held[at - 5 - length] & 0x80) === 0) yield content;
        else {
          const told = trailers(content);
          const end = outcome((name) => told.get(name));
          if (end) throw end;
          return;
        }
      }
      held = held.subarray(at);
    }
  } finally {
    // Whoever stops listening ends the call.
    reader.cancel().catch(() => {});
  }
  if (early === undefined) throw new Refusal(14, "The answer of the service ended too early.");
}

function joined(first, second) {
  if (first.length === 0) return second;
  const all = new Uint8Array(first.length + second.length);
  all.set(first);
  all.set(second, first.length);
  return all;
}
