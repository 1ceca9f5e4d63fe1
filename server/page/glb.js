// Reads the scenes that the service makes of plans (binary glTF 2.0, section 4.4): meshes by name, with their
// morph targets. Points stay as they are stored, in mm: the node above all others, which turns them to metres
// with y up for other viewers, is left out.

const SIZES = { SCALAR: 1, VEC3: 3 };
const FLOAT = 5126;
const UNSIGNED = 5125;

function accessor(document, chunk, index) {
  const { bufferView, componentType, count, type, byteOffset = 0 } = document.accessors[index];
  const view = document.bufferViews[bufferView];
  const from = (view.byteOffset ?? 0) + byteOffset;
  const length = count * SIZES[type];
  const Numbers = { [FLOAT]: Float32Array, [UNSIGNED]: Uint32Array }[componentType];
  if (!Numbers || !length) throw new Error("the scene holds numbers of an unknown kind");
  // A copy: the chunk itself may begin anywhere.
  return new Numbers(chunk.slice(from, from + 4 * length).buffer);
}

// The scene's parts in order: name, corners, triangles (none for a line), targets.
export function readScene(buffer) {
  const bytes = new Uint8Array(buffer);
  const view = new DataView(buffer);
  if (view.getUint32(0, true) !== 0x46546c67) throw new Error("the scene is no GLB file");
  const length = view.getUint32(12, true);
  const document = JSON.parse(new TextDecoder().decode(bytes.subarray(20, 20 + length)));
  const chunk = bytes.subarray(28 + length);
  return document.nodes
    .filter((node) => node.mesh !== undefined)
    .map((node) => {
      const [primitive] = document.meshes[node.mesh].primitives;
      const read = (index) => accessor(document, chunk, index);
      return {
        name: node.name,
        positions: read(primitive.attributes.POSITION),
        faces: primitive.indices === undefined ? undefined : read(primitive.indices),
        targets: (primitive.targets ?? []).map((target) => read(target.POSITION)),
      };
    });
}
