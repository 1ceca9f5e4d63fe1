// What a plan needs on the stage: its model, the outside of its rubber, and which way is up.

import { getModel, modelMesh, planFile } from "./service.js";
import { readScene } from "./glb.js";
import { surfaceOf } from "./model.js";
import { frameOf, three } from "./view3d.js";

export const LEGEND = [
  ["model", "model", "stone"],
  ["skin", "rubber", "skin"],
  ["cuts", "cuts: black from the base opening, blue separate, red beads across a bridge, green beads behind a hinge", "cut"],
  ["sheets", "way of the blade", "sheet"],
  ["lips", "thin lip; beads: feather edge or knife stopped", "lip"],
  ["bridges", "bridges and thin gaps", "bridge"],
  ["hinges", "hinges, uncut", "hinge"],
  ["gate", "base opening, open anyway", "gate"],
  ["shell", "pink beads: where the shell round the blanket is parted", "shell"],
  ["areas", "no seam wanted", "fault"],
  ["welcome", "seam welcome", "welcome"],
  ["misses", "faults of the cuts", "fault"],
  ["board", "board", "board"],
];

// The plan's model on the stage; words where it cannot be had.
export async function showModel(stage, job, signal) {
  let model;
  try {
    model = await getModel({ name: job.model }, signal);
  } catch (error) {
    if (error.code === "NOT_FOUND")
      return { words: "The model of this plan was deleted: only its lines are shown." };
    throw error;
  }
  const mesh = await modelMesh(model.name, surfaceOf(model), signal);
  stage.view.setModel(mesh);
  stage.view.stand(upOf(job), [mesh]);
  return { model, mesh };
}

export function upOf(job) {
  if (job.plan?.up) return job.plan.up;
  const gate = job.request?.gate ?? {};
  const normal = gate.plane?.normal;
  return (
    gate.lowestFlat?.up ?? (normal ? { x: -normal.x, y: -normal.y, z: -normal.z } : { x: 0, y: 0, z: 1 })
  );
}

// The outside of the rubber, which the plan's scene has once there are sheets.
export async function loadSkin(name, signal) {
  const { blob } = await planFile(`${name}/files/plan.glb`, { signal });
  return readScene(await blob.arrayBuffer()).find((part) => part.name === "outside of the rubber") ?? null;
}

// The mould's own "right" as the plan's view has it, told by the outside of the rubber, whose corners go round from
// the mould's x axis. Null for a blanket, whose outside has no corners.
export function rightInMould(skin, up, request) {
  if (!skin || request.mould?.blanket) return null;
  const corner = (k) => new three.Vector3().fromArray(skin.positions, 3 * k);
  const round = request.mould?.cylinder ? skin.positions.length / 6 : 0;
  const along = round > 0 ? corner(0).sub(corner(round / 2)) : corner(1).sub(corner(0));
  const { right, up: above } = frameOf(up);
  const x = along.normalize();
  const y = above.clone().cross(x);
  return { x: right.dot(x), y: right.dot(y), z: 0 };
}
