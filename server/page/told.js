// A plan in words: the verdict first, then what to mind and the cautions, then cuts, bridges, hinges, rubber.

import { button, el, fill } from "./dom.js";
import { bridgeLetter, isBehind, weakness } from "./marks.js";
import { KINDS_OF_CUT, figure, isDoubtful, mm, percent, sentence, tone, verdict } from "./words.js";

const SIGNS = { good: "✓", doubt: "?", bad: "✕" };

// The first line. It stays in sight whatever else is looked at.
export function tellVerdict(place, plan, more) {
  const kind = tone(plan);
  place.hidden = false;
  place.className = `verdict ${kind}`;
  fill(
    place,
    el("span", { class: "sign", "aria-hidden": "true" }, SIGNS[kind]),
    el(
      "p",
      {},
      el("strong", {}, sentence(verdict(plan))),
      more ? el("span", { class: "more-said" }, ` ${more}`) : null,
    ),
  );
}

export function tellWaiting(place, words, kind = "waiting") {
  place.hidden = false;
  place.className = `verdict ${kind}`;
  fill(
    place,
    el("span", { class: "sign", "aria-hidden": "true" }, kind === "bad" ? "✕" : "…"),
    el("p", {}, el("strong", {}, words)),
  );
}

// How the release trial came out, a sentence each.
function trialWords(trial) {
  if (!trial) return [];
  const pull = `${figure(trial.greatestPullN.toFixed(0), "N")} at most`;
  const stretch = `the rubber is stretched by ${percent(trial.greatestStrain)} at most`;
  const words = {
    TRIAL_OUTCOME_RELEASED: `In the trial the rubber comes off with a pull of ${pull}; ${stretch}`,
    TRIAL_OUTCOME_OUT_OF_TIME: "Time ran out before the trial came to an end: give it more",
    TRIAL_OUTCOME_NOT_ASKED: "Nobody asked for a trial: whether the model comes out was checked by girths alone",
    TRIAL_OUTCOME_STOPPED:
      "The release was not tried: the work was stopped or time was up. Give it more time",
    TRIAL_OUTCOME_FAILED: `The release was not tried: ${trial.message}`,
    TRIAL_OUTCOME_NOT_YET: "The release was not tried yet: the work goes on",
    TRIAL_OUTCOME_NO_VERDICT:
      trial.doubt === "DOUBT_PIERCED"
        ? "The trial gave no verdict: a part of the model went through rubber that is reckoned too coarsely there"
        : "The trial gave no verdict: a step that would have decided did not come to rest",
  };
  const stuck = {
    HINDRANCE_PULL: "it takes more pull than two hands have",
    HINDRANCE_TEAR: "the rubber would tear",
    HINDRANCE_CAUGHT: "it is still caught when it is drawn as far as the model is long",
  };
  const said =
    trial.outcome === "TRIAL_OUTCOME_STUCK"
      ? `In the trial the rubber stays on: ${stuck[trial.hindrance] ?? "why is not known"}`
      : words[trial.outcome];
  const doubts = [];
  if (isDoubtful(trial)) {
    if (trial.pieces > 1) doubts.push(`The cuts part the mould into ${trial.pieces} pieces`);
    else
      doubts.push(
        "Rubber slipped into the model, whose parts there are finer than the elements: do not rely on this",
      );
  }
  return [said, ...doubts].filter(Boolean).map(sentence);
}

// What to mind, right under the verdict, and the cautions.
export function tellHead(place, plan) {
  const missed = plan.limits.filter((limit) => !limit.met);
  const mind = [
    ...missed.map((limit) => sentence(`Limit missed, ${limit.name}: ${limit.text}`)),
    ...plan.warnings.map(sentence),
  ];
  place.hidden = false;
  fill(
    place,
    el("p", {}, trialWords(plan.trial).join(" ")),
    mind.length === 0
      ? null
      : el(
          "ul",
          { class: "mind" },
          mind.map((words) => el("li", {}, words)),
        ),
    plan.misses.length === 0 ? null : tellMisses(plan.misses),
    el(
      "div",
      { class: "cautions" },
      el("h2", {}, "Before you cut"),
      plan.cautions.map((words) => el("p", {}, words)),
    ),
  );
}

function tellMisses(misses) {
  return el(
    "div",
    {},
    el("h2", {}, "What is wrong with the cuts as they were drawn"),
    el(
      "ol",
      { class: "misses" },
      misses.map((miss) => el("li", { class: miss.fatal ? "fatal" : "" }, sentence(miss.text))),
    ),
  );
}

// Cuts from outside may be there for a bridge, to let the blade get at it; they do not cross it.
const crosses = (cut, index) => cut.kind === "CUT_KIND_BRIDGE" && cut.cutsBridge?.bridge === index;

// From where a cut is seen best: square to the model in the middle of it; without stations not known.
function facing(cut) {
  const stations = cut.sheets.flatMap((sheet) => sheet.stations);
  const sum = { x: 0, y: 0, z: 0 };
  for (const { normal } of stations) for (const axis of ["x", "y", "z"]) sum[axis] += normal?.[axis] ?? 0;
  // Normals that point all ways, as round a ring, leave none.
  return Math.hypot(sum.x, sum.y, sum.z) > 0.15 * stations.length ? sum : null;
}

function cutLine(cut, rules, look) {
  const bridge = cut.cutsBridge?.bridge;
  let across = "";
  if (bridge !== undefined)
    across = `, ${crosses(cut, bridge) ? "across" : "opens the way to"} bridge ${bridgeLetter(bridge)}`;
  const near = cut.cutsNearBridge ? ", across a near-bridge" : "";
  const stations = cut.sheets.flatMap((sheet) => sheet.stations);
  const deepest = stations.reduce((most, station) => Math.max(most, station.depthMm), 0);
  const leans = stations.reduce((most, station) => Math.max(most, station.angleFromNormalDegrees), 0);
  // Into a hole the blade's way tells nothing: the bridge's own width does.
  const deep = cut.kind === "CUT_KIND_BRIDGE" ? "" : `up to ${mm(deepest)} deep, `;
  // Beyond a right angle, or with no lip at all, an angle says nothing to anybody.
  const behind = stations.filter(isBehind);
  const lean =
    behind.length > 0
      ? `${deep && "and "}at ${behind.length} of ${stations.length} stations the knife would run along the model's surface or behind it, which cannot be cut so`
      : `at most ${leans.toFixed(0)} degrees off square`;
  const weak = stations.filter((station) => weakness(station, rules)).length;
  const figures =
    stations.length === 0
      ? null
      : el(
          "span",
          { class: "small" },
          sentence(deep + lean) +
            (weak > 0 ? ` Thin lip at ${weak} of ${stations.length} stations.` : ""),
        );
  return el(
    "li",
    {},
    button(String(cut.order), () => look(facing(cut)), {
      class: `mark-in-words ${cut.kind.toLowerCase()}`,
      "aria-label": `Turn the view to cut ${cut.order}`,
      title: "Turn the view to it",
    }),
    el(
      "span",
      {},
      el("strong", {}, `${KINDS_OF_CUT[cut.kind] ?? cut.kind}, ${mm(cut.lengthMm)}${across}${near}`),
      " ",
      sentence(cut.reason),
      " ",
      figures,
    ),
  );
}

function bridgeLine(plan, bridge, index) {
  const hole =
    bridge.kind === "BRIDGE_KIND_ARCH"
      ? "rubber between the model and the board"
      : "rubber through a hole of the model";
  const cut = plan.cuts.find((own) => crosses(own, index));
  let fate = "This plan does NOT cut it.";
  if (cut) {
    const short = bridge.openingMm < bridge.openingNeededMm ? ", TOO SHORT" : "";
    fate = `Cut ${cut.order} crosses it. Opening beside it ${mm(bridge.openingMm)}, needed ${mm(bridge.openingNeededMm)}${short}.`;
  } else if (bridge.lined) {
    fate = "The rubber only lines this hole, and the cut between the two sides runs round in it.";
  } else if (bridge.disc === "DISC_STATE_KNOTTED") fate = `No plain cut crosses it: ${bridge.explanation}.`;
  return el(
    "li",
    {},
    el("span", { class: "mark-in-words letter" }, bridgeLetter(index)),
    el("span", {}, el("strong", {}, `${hole}, neck ${mm(bridge.neckWidthMm)} wide`), ` ${fate}`),
  );
}

// What stays of hinges that fold.
const folds = (hinges) => {
  const skin = hinges.find((hinge) => hinge.skinMm !== undefined)?.skinMm;
  return skin === undefined ? "" : ` The rubber behind is cut from within: leave the outermost ${mm(skin)} there.`;
};

// Cuts, bridges, hinges and rubber. `look` turns the view to a direction, or is told that there is none.
export function planWords(plan, rules, look) {
  const narrowest = Math.min(...plan.hinges.map((hinge) => hinge.widthMm));
  const hinges =
    plan.hinges.length === 0
      ? null
      : el(
          "p",
          {},
          `${plan.hinges.length === 1 ? "1 hinge," : `${plan.hinges.length} hinges, the narrowest`} ${mm(narrowest)} wide: rubber left uncut. Stop the knife short of it.${folds(plan.hinges)}`,
        );
  const met = plan.limits.filter((limit) => limit.met);
  return [
    plan.cuts.length === 0
      ? null
      : el(
          "section",
          { class: "card" },
          el("h2", {}, "Cuts, in the order of the knife"),
          el(
            "ol",
            { class: "marked" },
            plan.cuts.map((cut) => cutLine(cut, rules, look)),
          ),
          el("p", { class: "small" }, "Each cut leaves a seam on the casting along its line."),
          hinges,
        ),
    plan.bridges.length === 0
      ? null
      : el(
          "section",
          { class: "card" },
          el("h2", {}, "Bridges"),
          el(
            "ul",
            { class: "marked" },
            plan.bridges.map((bridge, index) => bridgeLine(plan, bridge, index)),
          ),
        ),
    el(
      "section",
      { class: "card" },
      el("h2", {}, "Rubber to mix"),
      el(
        "p",
        {},
        `${figure(plan.rubberVolumeCm3.toFixed(0), "cm³")}, ${figure(plan.rubberMassG.toFixed(0), "g")}, without waste.`,
      ),
    ),
    met.length === 0
      ? null
      : el(
          "details",
          { class: "card" },
          el("summary", {}, `Limits met (${met.length})`),
          el(
            "ul",
            {},
            met.map((limit) => el("li", {}, sentence(`${limit.name}: ${limit.text}`))),
          ),
        ),
  ];
}
