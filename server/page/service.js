// The calls of the service that the page makes.

import { calls } from "./schema.js";
import { decode, encode } from "./protobuf.js";
import { Refusal, call, frameHead } from "./wire.js";
import { meshOfParts } from "./mesh.js";

const kept = "token";
let needsToken = () => {};

// In this tab only, until it is closed.
export const token = () => sessionStorage.getItem(kept) ?? "";
export function setToken(value) {
  if (value) sessionStorage.setItem(kept, value);
  else sessionStorage.removeItem(kept);
}

// What happens when the service asks for a token.
export function onTokenNeeded(act) {
  needsToken = act;
}

function framed(type, message) {
  const bytes = encode(type, message);
  return new Blob([frameHead(bytes.length), bytes]);
}

async function* raw(method, body, signal) {
  try {
    yield* call(calls[method][0], body, { token: token(), signal });
  } catch (error) {
    if (error.code === "UNAUTHENTICATED") needsToken();
    throw error;
  }
}

async function only(method, body, signal) {
  let answer;
  for await (const bytes of raw(method, body, signal)) answer ??= decode(calls[method][2], bytes);
  if (answer === undefined) throw new Refusal(13, "The service sent no answer.");
  return answer;
}

async function* stream(method, request, signal) {
  const [, asks, answers] = calls[method];
  for await (const bytes of raw(method, framed(asks, request), signal)) yield decode(answers, bytes);
}

const unary =
  (method) =>
  (request = {}, signal) =>
    only(method, framed(calls[method][1], request), signal);

export const serverInfo = unary("GetServerInfo");
export const getModel = unary("GetModel");
export const listModels = unary("ListModels");
export const deleteModel = unary("DeleteModel");
export const submitPlan = unary("SubmitPlan");
export const getPlan = unary("GetPlan");
export const listPlans = unary("ListPlans");
export const listPlanFiles = unary("ListPlanFiles");
export const comparePlans = unary("ComparePlans");
export const extendPlan = unary("ExtendPlan");
export const cancelPlan = unary("CancelPlan");
export const deletePlan = unary("DeletePlan");

export const watchPlan = (name, signal) => stream("WatchPlan", { name, cuts: false }, signal);

const CHUNK = 1 << 20;

// Sends a model: its header and its bytes, a message each, in one body, since a page has no streams of its own
// to send. The file is read by the browser as it goes out.
export async function uploadModel(header, file, signal) {
  const head = encode("UploadModelRequest", { header: { ...header, sizeBytes: file.size } });
  const parts = [frameHead(head.length), head];
  for (let at = 0; at < file.size; at += CHUNK) {
    const piece = file.slice(at, Math.min(at + CHUNK, file.size));
    // A field of bytes: its tag, how long it is, and what is in it.
    const tag = encode("UploadModelRequest", { chunk: new Uint8Array() }).slice(0, 1);
    const length = [];
    let rest = piece.size;
    for (; rest > 127; rest >>>= 7) length.push((rest & 127) | 128);
    length.push(rest);
    parts.push(frameHead(1 + length.length + piece.size), tag, Uint8Array.from(length), piece);
  }
  return only("UploadModel", new Blob(parts), signal);
}

const meshes = new Map();

// A model's surface in mm; the last few are kept.
export async function modelMesh(name, surface, signal) {
  const key = `${name} ${surface}`;
  if (!meshes.has(key)) {
    const parts = [];
    const asked = framed("GetModelMeshRequest", { name, surface });
    for await (const bytes of raw("GetModelMesh", asked, signal)) parts.push(bytes.slice());
    meshes.set(key, meshOfParts(parts));
    if (meshes.size > 3) meshes.delete(meshes.keys().next().value);
  }
  return meshes.get(key);
}

// A file of a plan: what it is, and its bytes as one blob.
export async function planFile(name, { paper, signal } = {}) {
  const chunks = [];
  let file;
  const request = { name, ...(paper ? { paper } : {}) };
  for await (const part of stream("GetPlanFile", request, signal)) {
    if (part.file) file = part.file;
    else chunks.push(part.chunk.slice());
  }
  return { file, blob: new Blob(chunks, { type: file?.mediaType ?? "" }) };
}
