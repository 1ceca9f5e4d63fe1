// Words at places of a view, over its canvas. They are kept apart, so that each can be read: one that has to give way
// stands beside its place, and a thin line leads there.

import { el } from "./dom.js";

// How far apart they stay, and how far it is from one place that is tried to the next, px.
const GAP = 3;
const STEP = 6;
// Directions in which a free place is looked for, below and above first: words are wider than they are high.
const TURNS = [6, 2, 5, 7, 1, 3, 4, 0].map((eighth) => (eighth * Math.PI) / 4);
const WAYS = TURNS.map((turn) => [Math.cos(turn), Math.sin(turn)]);

const overlap = (a, b) =>
  Math.abs(a.x - b.x) < (a.width + b.width) / 2 + GAP &&
  Math.abs(a.y - b.y) < (a.height + b.height) / 2 + GAP;

// Where boxes with a middle and a size go so that none lies on another, each as near its middle as it can, the first
// before the next. None leaves the view. Where there is no room left a box stays where it is.
export function keptApart(boxes, width, height) {
  const placed = [];
  const reach = Math.hypot(width, height);
  for (const box of boxes) {
    const inside = (at, size, most) => Math.min(Math.max(at, size / 2), Math.max(size / 2, most - size / 2));
    const tried = (away, [across, down]) => ({
      ...box,
      x: inside(box.x + away * across, box.width, width),
      y: inside(box.y + away * down, box.height, height),
    });
    const free = (own) => !placed.some((other) => overlap(own, other));
    let own = tried(0, WAYS[0]);
    const first = own;
    for (let away = STEP; !free(own) && away < reach; away += STEP) {
      own = WAYS.map((way) => tried(away, way)).find(free) ?? first;
    }
    placed.push(own);
  }
  return placed;
}

export class Labels {
  constructor() {
    this.all = [];
    this.place = el("div", { class: "labels" });
  }

  // Words at a place, a vector.
  add(layer, place, words, kind, title) {
    const element = el("span", { class: `mark ${kind}`, title: title ?? "" }, words);
    const lead = el("span", { class: "lead", hidden: true });
    // Lines run below all words.
    this.place.prepend(lead);
    this.place.append(element);
    this.all.push({ layer, place, element, lead, off: false });
  }

  clear(layer) {
    for (const own of this.all) {
      if (own.layer !== layer) continue;
      own.element.remove();
      own.lead.remove();
    }
    this.all = this.all.filter((own) => own.layer !== layer);
  }

  show(layer, visible) {
    for (const own of this.all) if (own.layer === layer) own.off = !visible;
  }

  has(layer) {
    return this.all.some((own) => own.layer === layer);
  }

  get layers() {
    return this.all.map((own) => own.layer);
  }

  // Puts all of them where `spot` says that their places are on a view of this size, px.
  arrange(spot, width, height) {
    const seen = [];
    for (const own of this.all) {
      const [x, y] = spot(own.place);
      const inView = x >= 0 && y >= 0 && x <= width && y <= height;
      own.element.hidden = own.off || !inView;
      own.lead.hidden = true;
      if (!own.element.hidden) seen.push({ own, x, y });
    }
    // Measured before anything is moved, so that the browser lays them out once.
    const boxes = seen.map(({ own, x, y }) => {
      own.size ??= [own.element.offsetWidth, own.element.offsetHeight];
      return { x, y, width: own.size[0], height: own.size[1] };
    });
    keptApart(boxes, width, height).forEach((box, k) => {
      const { own, x, y } = seen[k];
      own.element.style.transform = `translate(-50%, -50%) translate(${box.x}px, ${box.y}px)`;
      if (Math.abs(box.x - x) > box.width / 2 || Math.abs(box.y - y) > box.height / 2) lead(own.lead, [x, y], box);
    });
  }

  // Marks that `hides` says the model hides are dashed, as in the pictures.
  dash(hides) {
    for (const { place, element } of this.all) element.classList.toggle("behind", hides(place));
  }
}

// A line from a place to the words that belong there.
function lead(line, [x, y], to) {
  const [across, down] = [to.x - x, to.y - y];
  line.hidden = false;
  line.style.width = `${Math.hypot(across, down)}px`;
  line.style.transform = `translate(${x}px, ${y}px) rotate(${Math.atan2(down, across)}rad)`;
}
