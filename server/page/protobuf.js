// Messages as bytes and back (protobuf.dev, "Encoding"), by the table that the server makes of the protocol.
//
// Names are those of the JSON form. Enums are their names. A field that may be absent is undefined then. Whole
// numbers of 64 bits are numbers, or BigInt where a number cannot hold them.

import { messages as ours, enums } from "./schema.js";

// What errors of gRPC carry (google/rpc/status.proto, error_details.proto), as far as the page reads it.
const theirs = {
  "google.protobuf.Any": [
    [1, "typeUrl", "string", "", "one"],
    [2, "value", "bytes", "", "one"],
  ],
  "google.rpc.Status": [
    [1, "code", "int32", "", "one"],
    [2, "message", "string", "", "one"],
    [3, "details", "message", "google.protobuf.Any", "many"],
  ],
  "google.rpc.BadRequest": [
    [1, "fieldViolations", "message", "google.rpc.BadRequest.FieldViolation", "many"],
  ],
  "google.rpc.BadRequest.FieldViolation": [
    [1, "field", "string", "", "one"],
    [2, "description", "string", "", "one"],
  ],
  "google.rpc.ErrorInfo": [
    [1, "reason", "string", "", "one"],
    [2, "domain", "string", "", "one"],
  ],
};
const messages = { ...ours, ...theirs };

const wireTypes = {
  double: 1,
  float: 5,
  int32: 0,
  int64: 0,
  uint32: 0,
  uint64: 0,
  bool: 0,
  enum: 0,
  string: 2,
  bytes: 2,
  message: 2,
};

const tables = new Map();

// A message's fields by number and by name.
function table(type) {
  let found = tables.get(type);
  if (!found) {
    if (!messages[type]) throw new Error(`the protocol has no message ${type}`);
    const fields = messages[type].map(([number, name, kind, of, comes]) => {
      if (wireTypes[kind] === undefined) throw new Error(`${type}.${name} is of an unknown kind`);
      return { number, name, kind, of, comes, wire: wireTypes[kind] };
    });
    found = { fields, byNumber: new Map(fields.map((field) => [field.number, field])) };
    tables.set(type, found);
  }
  return found;
}

const numbersOfEnums = new Map();

function enumNumber(type, name) {
  if (!numbersOfEnums.has(type)) {
    const pairs = Object.entries(enums[type]).map(([number, own]) => [own, Number(number)]);
    numbersOfEnums.set(type, new Map(pairs));
  }
  const number = numbersOfEnums.get(type).get(name);
  if (number === undefined) throw new Error(`${type} has no ${name}`);
  return number;
}

// Bytes that grow.
class Writer {
  constructor() {
    this.parts = [];
    this.length = 0;
  }

  push(bytes) {
    this.parts.push(bytes);
    this.length += bytes.length;
  }

  varint(value) {
    const bytes = [];
    let rest = BigInt.asUintN(64, BigInt(value));
    while (rest > 127n) {
      bytes.push(Number(rest & 127n) | 128);
      rest >>= 7n;
    }
    bytes.push(Number(rest));
    this.push(Uint8Array.from(bytes));
  }

  finish() {
    const all = new Uint8Array(this.length);
    let at = 0;
    for (const part of this.parts) {
      all.set(part, at);
      at += part.length;
    }
    return all;
  }
}

const toBytes = new TextEncoder();

function writeValue(writer, field, value) {
  writer.varint((field.number << 3) | field.wire);
  switch (field.kind) {
    case "double": {
      const bytes = new Uint8Array(8);
      new DataView(bytes.buffer).setFloat64(0, value, true);
      return writer.push(bytes);
    }
    case "float": {
      const bytes = new Uint8Array(4);
      new DataView(bytes.buffer).setFloat32(0, value, true);
      return writer.push(bytes);
    }
    case "bool":
      return writer.varint(value ? 1 : 0);
    case "enum":
      return writer.varint(enumNumber(field.of, value));
    case "string":
    case "bytes":
    case "message": {
      let bytes = value;
      if (field.kind === "string") bytes = toBytes.encode(value);
      if (field.kind === "message") bytes = encode(field.of, value);
      writer.varint(bytes.length);
      return writer.push(bytes);
    }
    default:
      return writer.varint(value);
  }
}

// Whether a value is what a field has anyway when it is not sent.
function isDefault(field, value) {
  if (field.kind === "enum") return enumNumber(field.of, value) === 0;
  return value === 0 || value === false || value === "" || value?.length === 0;
}

export function encode(type, message) {
  const writer = new Writer();
  const known = table(type);
  for (const name of Object.keys(message)) {
    if (!known.fields.some((field) => field.name === name)) {
      throw new Error(`${type} has no field ${name}`);
    }
  }
  for (const field of known.fields) {
    const value = message[field.name];
    if (value === undefined || value === null) continue;
    if (field.comes === "many") for (const own of value) writeValue(writer, field, own);
    else if (field.comes === "maybe" || !isDefault(field, value)) writeValue(writer, field, value);
  }
  return writer.finish();
}

// Reads bytes in order. Whatever runs over the end is a fault of who sent it.
export class Reader {
  constructor(bytes, at = 0, end = bytes.length) {
    this.bytes = bytes;
    this.view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
    this.at = at;
    this.end = end;
  }

  take(count) {
    const from = this.at;
    this.at += count;
    if (this.at > this.end) throw new Error("a message ends before its time");
    return from;
  }

  // Up to 32 bits, for tags, lengths and indices. More is left to `wide`.
  varint() {
    let value = 0;
    for (let shift = 0; shift < 70; shift += 7) {
      const byte = this.bytes[this.take(1)];
      if (shift < 28) value |= (byte & 127) << shift;
      else if (shift === 28) value = (value >>> 0) + (byte & 15) * 2 ** 28;
      if (byte < 128) return value;
    }
    throw new Error("a number does not end");
  }

  wide() {
    let value = 0n;
    for (let shift = 0n; shift < 70n; shift += 7n) {
      const byte = this.bytes[this.take(1)];
      value |= BigInt(byte & 127) << shift;
      if (byte < 128) return value;
    }
    throw new Error("a number does not end");
  }

  skip(wire) {
    if (wire === 0) this.wide();
    else if (wire === 1) this.take(8);
    else if (wire === 2) this.take(this.varint());
    else if (wire === 5) this.take(4);
    else throw new Error(`a message holds something of kind ${wire}`);
  }
}

const fromBytes = new TextDecoder();
const plain = (wide) => (wide >= -(2n ** 53n) && wide <= 2n ** 53n ? Number(wide) : wide);

function readValue(reader, field) {
  switch (field.kind) {
    case "double":
      return reader.view.getFloat64(reader.take(8), true);
    case "float":
      return reader.view.getFloat32(reader.take(4), true);
    case "bool":
      return reader.varint() !== 0;
    case "uint32":
      return reader.varint();
    case "int32":
      return Number(BigInt.asIntN(32, reader.wide()));
    case "uint64":
      return plain(BigInt.asUintN(64, reader.wide()));
    case "int64":
      return plain(BigInt.asIntN(64, reader.wide()));
    case "enum": {
      const number = Number(BigInt.asIntN(32, reader.wide()));
      // Of a newer server: told by its number.
      return enums[field.of][number] ?? `${field.of} ${number}`;
    }
    default: {
      const length = reader.varint();
      const from = reader.take(length);
      if (field.kind === "message") return decode(field.of, reader.bytes, from, from + length);
      const bytes = reader.bytes.subarray(from, from + length);
      return field.kind === "string" ? fromBytes.decode(bytes) : bytes;
    }
  }
}

function absent(field) {
  if (field.comes === "many") return [];
  if (field.comes === "maybe") return undefined;
  if (field.kind === "enum") return enums[field.of][0];
  if (field.kind === "string") return "";
  if (field.kind === "bool") return false;
  return field.kind === "bytes" ? new Uint8Array() : 0;
}

export function decode(type, bytes, from = 0, end = bytes.length) {
  const { fields, byNumber } = table(type);
  const message = {};
  for (const field of fields) message[field.name] = absent(field);
  const reader = new Reader(bytes, from, end);
  while (reader.at < end) {
    const tag = reader.varint();
    const field = byNumber.get(tag >>> 3);
    const wire = tag & 7;
    if (!field) reader.skip(wire);
    else if (wire === 2 && field.wire !== 2 && field.comes === "many") {
      // Many numbers packed into one field.
      const length = reader.varint();
      const stop = reader.take(length) + length;
      const packed = new Reader(bytes, stop - length, stop);
      while (packed.at < stop) message[field.name].push(readValue(packed, field));
    } else if (wire !== field.wire) throw new Error(`${type}.${field.name} came as something else`);
    else if (field.comes === "many") message[field.name].push(readValue(reader, field));
    else message[field.name] = readValue(reader, field);
  }
  return message;
}
