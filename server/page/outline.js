// A closed outline on the model, read as the service reads it: corners joined by straight lines, seen against their
// mean normal, and no deeper below or higher above it than the outline is wide.

import { three } from "./view3d.js";

// Places on each side that are put on the model for the line that is shown.
const STEPS = 12;
// Outlines that enclose less than this share of the square of their width enclose nothing (no source).
const LEAST = 1e-4;

const vector = ({ x, y, z }) => new three.Vector3(x, y, z);
const plain = ({ x, y, z }) => ({ x, y, z });

export class Outline {
  // `toward` stands in for the mean normal as long as corners are too few, or too much in one line, to have one.
  constructor(corners, toward) {
    this.corners = corners.map(vector);
    const count = corners.length;
    this.middle = this.corners.reduce((sum, own) => sum.add(own), new three.Vector3()).divideScalar(count);
    const from = this.corners.map((own) => own.clone().sub(this.middle));
    // Newell's normal: twice the area, as a vector.
    const twice = from.reduce(
      (sum, own, k) => sum.add(own.clone().cross(from[(k + 1) % count])),
      new three.Vector3(),
    );
    this.wide = Math.max(...from.map((own) => own.length()));
    this.isEmpty = !(twice.length() / 2 > LEAST * this.wide ** 2);
    this.up = (this.isEmpty && toward ? vector(toward) : twice).normalize();
    const aside = Math.abs(this.up.x) < 0.9 ? new three.Vector3(1, 0, 0) : new three.Vector3(0, 1, 0);
    this.x = aside.cross(this.up).normalize();
    this.y = this.up.clone().cross(this.x);
    this.flat = from.map((own) => [own.dot(this.x), own.dot(this.y)]);
  }

  // Whether a place of the surface lies within.
  holds(place) {
    const from = place.clone().sub(this.middle);
    if (Math.abs(from.dot(this.up)) > this.wide) return false;
    const [px, py] = [from.dot(this.x), from.dot(this.y)];
    return this.flat.reduce((inside, [ax, ay], k) => {
      const [bx, by] = this.flat[(k + 1) % this.flat.length];
      const crosses = ay > py !== by > py && px < ax + ((bx - ax) * (py - ay)) / (by - ay);
      return crosses ? !inside : inside;
    }, false);
  }

  // Its sides as they lie on the model, a list of places each; the last one leads back to the first corner.
  sides(view) {
    return this.corners.map((from, k) => {
      const to = this.corners[(k + 1) % this.corners.length];
      const line = [];
      for (let step = 0; step <= STEPS; step += 1) {
        const place = from.clone().lerp(to, step / STEPS);
        line.push(plain(view.nearestAlong(place, this.up, this.wide) ?? place));
      }
      return line;
    });
  }

  // The faces of a surface whose middle lies within, as corners one after the other.
  facesOf(geometry) {
    const { array } = geometry.attributes.position;
    const index = geometry.index?.array;
    const count = index ? index.length : array.length / 3;
    const [a, b, c, middle] = [0, 0, 0, 0].map(() => new three.Vector3());
    const held = [];
    for (let at = 0; at < count; at += 3) {
      [a, b, c].forEach((corner, k) => corner.fromArray(array, 3 * (index ? index[at + k] : at + k)));
      middle.copy(a).add(b).add(c).divideScalar(3);
      if (this.holds(middle)) held.push(...a, ...b, ...c);
    }
    return Float32Array.from(held);
  }
}
