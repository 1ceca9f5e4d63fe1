// Two plans side by side, turned by one hand.

import { button, el, fill } from "./dom.js";
import { comparePlans, getPlan } from "./service.js";
import { drawPlan } from "./marks.js";
import { showModel } from "./shown.js";
import { Stage } from "./stage.js";
import { tellVerdict } from "./told.js";
import { SIDES, Turning } from "./turning.js";
import { figure, mm, percent, sentence, triedInShort } from "./words.js";

// Rows of the table: words, and the figure of a plan.
const ROWS = [
  ["Length of cut", (plan) => mm(plan.totalLengthMm)],
  ["Cuts", (plan) => String(plan.cuts)],
  ["Release trial", (plan) => sentence(triedInShort(plan.trial))],
  [
    "Greatest pull",
    (plan) => (plan.greatestPullN === undefined ? "not tried" : figure(plan.greatestPullN.toFixed(0), "N")),
  ],
  ["Beside thin rubber", (plan) => (plan.weakLengthMm === undefined ? "not known" : mm(plan.weakLengthMm))],
  [
    "Knife off square, at most",
    (plan) =>
      plan.worstAngleDegrees === undefined
        ? "not known"
        : figure(plan.worstAngleDegrees.toFixed(0), "degrees"),
  ],
  ["Deepest cut", (plan) => (plan.greatestDepthMm === undefined ? "not known" : mm(plan.greatestDepthMm))],
  ["Bridges cut", (plan) => `${plan.bridgesCut} of ${plan.bridges}`],
  ["Narrowest hinge", (plan) => (plan.narrowestHingeMm === undefined ? "none" : mm(plan.narrowestHingeMm))],
  ["Greatest stretch by girths", (plan) => percent(plan.greatestStrain)],
  ["Seam on show", (plan) => mm(plan.seamOnShowMm)],
  ["Limits missed", (plan) => (plan.missed.length === 0 ? "none" : plan.missed.join(", "))],
];

export async function openCompare(frame, ids) {
  const ended = new AbortController();
  const turning = new Turning();
  const names = ids.slice(0, 2).map((id) => `plans/${id}`);
  const stages = [];
  frame.title("Side by side");
  const columns = names.map((name, k) => {
    const verdict = el("div");
    const place = el("div", { class: "stage" });
    const column = el(
      "section",
      { class: "side", "aria-label": `Plan ${k + 1}` },
      el("h2", {}, el("a", { href: `#/${name.replace("plans/", "plan/")}` }, `Plan ${k + 1}`)),
      verdict,
      place,
    );
    return { name, verdict, place, column };
  });
  const table = el("div");
  const sides = el(
    "div",
    { class: "sides", role: "group", "aria-label": "Look at both from" },
    SIDES.map(([, words, round, raised]) => button(words, () => turning.look(round, raised))),
  );
  fill(
    frame.body,
    el(
      "div",
      { class: "pair" },
      columns.map(({ column }) => column),
    ),
    sides,
    table,
  );
  const close = () => {
    ended.abort();
    for (const stage of stages) stage.close();
  };
  try {
    for (const { name, verdict, place } of columns) {
      const job = await getPlan({ name }, ended.signal);
      const stage = new Stage(place, {
        label: `The model with ${name === names[0] ? "plan 1" : "plan 2"}`,
        turning,
        small: true,
      });
      stages.push(stage);
      const { words } = await showModel(stage, job, ended.signal);
      if (words) place.append(el("p", { class: "small" }, words));
      if (job.plan) {
        tellVerdict(verdict, job.plan);
        drawPlan(stage.view, job.plan, job.request?.sheets);
      }
      stage.tell();
    }
    const { plans, front } = await comparePlans({ names }, ended.signal);
    fill(
      table,
      el(
        "div",
        { class: "scroll", tabIndex: 0, role: "region", "aria-label": "Figures of both" },
        el(
          "table",
          {},
          el(
            "thead",
            {},
            el(
              "tr",
              {},
              el("th", { scope: "col" }, "Figure"),
              plans.map((_, k) => el("th", { scope: "col" }, `Plan ${k + 1}`)),
            ),
          ),
          el(
            "tbody",
            {},
            ROWS.map(([words, tell]) =>
              el(
                "tr",
                {},
                el("th", { scope: "row" }, words),
                plans.map((plan) => el("td", {}, tell(plan))),
              ),
            ),
          ),
        ),
      ),
      el(
        "p",
        {},
        front.length === 0
          ? "Neither of them passes the check of girths."
          : `Not beaten in both length and weak rubber: ${plans
              .map((plan, k) => (front.includes(plan.name) ? `plan ${k + 1}` : null))
              .filter(Boolean)
              .join(", ")}.`,
      ),
    );
  } catch (error) {
    if (error.name !== "AbortError") table.append(el("p", { class: "fault", role: "alert" }, error.message));
  }
  return close;
}
