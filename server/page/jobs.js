// All plans: what runs, what is done; opened, stopped, given more time, deleted, compared.

import { ask, button, el, fill } from "./dom.js";
import { cancelPlan, deletePlan, extendPlan, listModels, listPlans } from "./service.js";
import { STATES, mm, moment, span, triedInShort } from "./words.js";

const AGAIN = 3000;

class Jobs {
  constructor(frame) {
    this.frame = frame;
    this.ended = new AbortController();
    this.chosen = new Set();
    this.token = "";
    this.list = el("ul", { class: "jobs" });
    this.told = el("p", { role: "status" });
    this.compare = button(
      "Compare the two",
      () => {
        const [a, b] = [...this.chosen].map((name) => name.replace("plans/", ""));
        location.hash = `#/compare/${a}/${b}`;
      },
      { disabled: true },
    );
    this.older = button("Show older ones", () => this.more());
  }

  async open() {
    this.frame.title("All plans");
    fill(
      this.frame.body,
      el(
        "div",
        { class: "row" },
        this.compare,
        el("span", { class: "small" }, "Tick two plans of one model."),
      ),
      this.told,
      this.list,
      this.older,
    );
    this.names = new Map();
    const { models } = await listModels({ pageSize: 200 }, this.ended.signal);
    for (const model of models) this.names.set(model.name, model.displayName || model.name);
    await this.load();
  }

  async load() {
    const page = await listPlans({ pageSize: 50, orderBy: "submit_time desc" }, this.ended.signal);
    this.jobs = page.plans;
    this.token = page.nextPageToken;
    this.show();
  }

  async more() {
    await this.guarded(async () => {
      const page = await listPlans(
        { pageSize: 50, orderBy: "submit_time desc", pageToken: this.token },
        this.ended.signal,
      );
      this.jobs = [...this.jobs, ...page.plans];
      this.token = page.nextPageToken;
      this.pages = true;
      this.show();
    });
  }

  show() {
    this.older.hidden = !this.token;
    this.told.textContent = this.jobs.length === 0 ? "There is no plan yet." : "";
    const focused = document.activeElement?.id;
    fill(
      this.list,
      this.jobs.map((job) => this.line(job)),
    );
    if (focused) document.getElementById(focused)?.focus();
    clearTimeout(this.later);
    // While something runs its line changes by itself, unless older pages are open.
    const runs = this.jobs.some((job) => ["JOB_STATE_QUEUED", "JOB_STATE_RUNNING"].includes(job.state));
    if (runs && !this.pages) this.later = setTimeout(() => this.guarded(() => this.load()), AGAIN);
  }

  line(job) {
    const id = job.name.replace("plans/", "");
    const active = ["JOB_STATE_QUEUED", "JOB_STATE_RUNNING"].includes(job.state);
    const { best } = job;
    const name = this.names.get(job.model) ?? "a model that was deleted";
    let words = job.failure ? job.failure.message : "no plan yet";
    if (best) {
      // Trial and gap are not among these; a great number stands for what was not looked at yet.
      const { missedLimits: count } = best;
      const missed =
        count > 0 && count < 1000 ? `; ${count} ${count === 1 ? "limit" : "limits"} missed besides` : "";
      words = `${mm(best.lengthMm)} of cut; ${triedInShort(best.trial)}${missed}`;
    }
    const tick = el("input", {
      type: "checkbox",
      id: `tick-${id}`,
      checked: this.chosen.has(job.name),
      disabled: !best,
      "aria-label": `compare ${name} of ${moment(job.submitTime)}`,
      on: {
        change: () => {
          if (tick.checked) this.chosen.add(job.name);
          else this.chosen.delete(job.name);
          this.compare.disabled = this.chosen.size !== 2;
        },
      },
    });
    const press = (label, act) =>
      button(label, () => this.guarded(act), {
        id: `${label.replaceAll(" ", "-")}-${id}`,
        "aria-label": `${label}: ${name} of ${moment(job.submitTime)}`,
      });
    const change = (call, request) => async () => {
      await call({ name: job.name, ...request }, this.ended.signal);
      await this.load();
    };
    return el(
      "li",
      { class: `job ${active ? "active" : ""}` },
      tick,
      el(
        "div",
        { class: "job-words" },
        el("a", { href: `#/plan/${id}`, id: `open-${id}` }, name),
        " ",
        el("span", { class: `state ${job.state.toLowerCase()}` }, STATES[job.state] ?? job.state),
        " ",
        el("span", { class: "small" }, `${moment(job.submitTime)}, ${span(job.usedSeconds)} worked`),
        el("p", {}, words),
        active
          ? el("progress", { max: 1, value: job.progress?.fraction ?? 0, "aria-label": `how far ${name} is` })
          : null,
      ),
      el(
        "div",
        { class: "row" },
        active ? press("Stop", change(cancelPlan)) : null,
        job.state !== "JOB_STATE_FAILED" || job.failure?.code === 4
          ? press("5 min more", change(extendPlan, { seconds: 300, requestId: crypto.randomUUID?.() ?? "" }))
          : null,
        active
          ? null
          : press("Delete", async () => {
              if (
                !(await ask(
                  `Delete the plan of ${name}, ${moment(job.submitTime)}? It cannot be brought back.`,
                  "Delete it",
                ))
              )
                return;
              this.chosen.delete(job.name);
              await change(deletePlan)();
            }),
      ),
    );
  }

  async guarded(act) {
    try {
      await act();
    } catch (error) {
      if (error.name !== "AbortError") this.told.textContent = error.message;
    }
  }

  close() {
    clearTimeout(this.later);
    this.ended.abort();
  }
}

export async function openJobs(frame) {
  const screen = new Jobs(frame);
  await screen.open();
  return () => screen.close();
}
