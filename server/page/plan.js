// One plan: watched while it gets better, then turned in the hands.

import { button, el, fill, say } from "./dom.js";
import { cancelPlan, extendPlan, getPlan, watchPlan } from "./service.js";
import { areasOf, drawAreas } from "./areas.js";
import { PlanFiles } from "./files.js";
import { clearPlan, drawPlan, drawSkin, fadeSkin } from "./marks.js";
import { LEGEND, loadSkin, rightInMould, showModel, upOf } from "./shown.js";
import { slider } from "./stage.js";
import { planWords, tellHead, tellVerdict, tellWaiting } from "./told.js";
import { WayOut } from "./wayout.js";
import { STAGES, STATES, mm, sentence, span, triedInShort } from "./words.js";

// How much of the rubber is seen at first.
const SHOWN = 0.22;
const AGAIN = 2000;

class PlanScreen {
  constructor(frame, id) {
    this.frame = frame;
    this.name = `plans/${id}`;
    this.ended = new AbortController();
    this.signal = this.ended.signal;
    this.betters = [];
    this.mode = "plan";
    this.work = el("section", { class: "card work", "aria-label": "The work" });
    this.words = el("div", { class: "parts" });
    this.more = el("div", { class: "parts" });
  }

  async open() {
    this.job = await getPlan({ name: this.name }, this.signal);
    this.order();
    this.stage = this.frame.stage();
    this.say = el("p", { class: "small", role: "status" });
    fill(this.stage.more, this.say);
    this.tell();
    this.say.textContent = "The model's surface is fetched ...";
    const { model, mesh, words } = await showModel(this.stage, this.job, this.signal);
    this.mesh = mesh;
    this.say.textContent = words ?? "";
    this.heading = model?.displayName || "plan";
    this.frame.title(model?.displayName ? `Plan: ${model.displayName}` : "Plan");
    this.files = new PlanFiles(this.name, this.heading, this.signal);
    await this.show();
    if (this.active()) this.watch();
  }

  active() {
    return ["JOB_STATE_QUEUED", "JOB_STATE_RUNNING"].includes(this.job.state);
  }

  // While the work goes on it is what people look for; later the plan is.
  order() {
    const parts = this.active() ? [this.work, this.words, this.more] : [this.words, this.more, this.work];
    if (this.frame.body.firstChild !== parts[0]) fill(this.frame.body, parts);
  }

  // Words about the job as it stands.
  tell() {
    const { job } = this;
    this.order();
    const going = this.active() ? "The work goes on: this is the best so far." : "";
    if (job.plan) {
      tellVerdict(this.frame.verdict, job.plan, going);
      tellHead(this.frame.head, job.plan);
      fill(
        this.words,
        planWords(job.plan, job.request?.sheets, (toward) => this.look(toward)),
      );
    } else if (job.state === "JOB_STATE_FAILED") {
      tellWaiting(
        this.frame.verdict,
        sentence(`There is no plan: ${job.failure?.message || "nobody knows why"}`),
        "bad",
      );
    } else if (job.state === "JOB_STATE_CANCELLED")
      tellWaiting(this.frame.verdict, "Stopped before there was a plan.", "bad");
    else tellWaiting(this.frame.verdict, "There is no plan yet.");
    this.tellWork();
  }

  // Turns the plan so that a direction points at whoever looks.
  async look(toward) {
    if (this.mode !== "plan") await this.change("plan");
    if (toward) this.stage.view.face(toward);
    else this.say.textContent = "No one side shows all of this cut.";
    this.stage.view.place.scrollIntoView({ block: "nearest" });
  }

  tellWork() {
    const { job } = this;
    const limit = (job.request?.budget?.timeLimitSeconds ?? 0) + job.extraSeconds;
    const used = this.active()
      ? Math.max(job.usedSeconds, job.progress?.elapsedSeconds ?? 0)
      : job.usedSeconds;
    const state = STATES[job.state] ?? job.state;
    const best = job.best;
    const parts = [
      el("h2", {}, this.active() ? "At work" : "The work"),
      el("p", {}, `${sentence(state)} ${span(used)} of ${span(limit)} used.`),
    ];
    if (this.active()) {
      parts.push(
        el(
          "p",
          { class: "stage-words" },
          STAGES[job.progress?.stage] ?? "Waits its turn",
          job.progress?.message ? `: ${job.progress.message}` : "",
          ".",
        ),
        el("progress", { max: 1, value: job.progress?.fraction ?? 0, "aria-label": "How far the work is" }),
      );
    }
    const shortest = best ? best.lengthMm : job.progress?.bestLengthMm;
    if (shortest !== undefined) {
      parts.push(
        el(
          "p",
          {},
          this.active() ? "Best so far: " : "Best: ",
          el("strong", {}, shortest > 0 ? `${mm(shortest)} of cut` : "no cut"),
          `${best ? `, ${triedInShort(best.trial)}` : ""}.`,
        ),
      );
    }
    if (this.betters.length > 1) {
      parts.push(
        el(
          "details",
          {},
          el("summary", {}, `How it got better (${this.betters.length})`),
          el(
            "ol",
            { class: "betters" },
            this.betters.map((better) =>
              el(
                "li",
                {},
                `after ${span(better.usedSeconds)}: ${mm(better.lengthMm)}, ${triedInShort(better.trial)}`,
              ),
            ),
          ),
        ),
      );
    }
    const add = (seconds, words) =>
      button(words, () =>
        this.act(extendPlan, { name: this.name, seconds, requestId: crypto.randomUUID?.() ?? "" }),
      );
    const canExtend = job.state !== "JOB_STATE_FAILED" || job.failure?.code === 4;
    const draw =
      job.plan && this.mesh
        ? button("Draw on it", () => {
            location.hash = `#/draw/${this.name.replace("plans/", "")}`;
          })
        : null;
    parts.push(
      el(
        "div",
        { class: "row" },
        this.active() ? button("Stop", () => this.act(cancelPlan, { name: this.name })) : null,
        canExtend ? [add(60, "1 min more"), add(300, "5 min more"), add(900, "15 min more")] : null,
        draw,
      ),
      this.fault ? el("p", { class: "fault", role: "alert" }, this.fault) : null,
    );
    const open = this.work.querySelector("details")?.open;
    const focused = document.activeElement?.closest?.(".work") ? document.activeElement.textContent : null;
    fill(this.work, parts);
    if (open && this.work.querySelector("details")) this.work.querySelector("details").open = true;
    // Words change every second; whoever stands on a button stays on it.
    if (focused)
      [...this.work.querySelectorAll("button, summary")].find((own) => own.textContent === focused)?.focus();
  }

  async act(call, request) {
    this.fault = "";
    try {
      const job = await call(request, this.signal);
      this.job = { ...this.job, ...job, plan: job.plan ?? this.job.plan };
      this.tell();
      if (this.active() && !this.watching) this.watch();
    } catch (error) {
      if (error.name === "AbortError") return;
      this.fault = error.message;
      this.tellWork();
    }
  }

  // Draws the plan as it stands.
  async show() {
    const { job, stage } = this;
    if (this.mode !== "plan") return;
    if (this.mesh) drawAreas(stage.view, areasOf(job.request));
    if (job.plan) {
      if (!this.mesh) this.standOnLines();
      drawPlan(stage.view, job.plan, job.request?.sheets);
      if (this.skin) drawSkin(stage.view, this.skin, this.shown ?? SHOWN);
    } else clearPlan(stage.view);
    stage.legend(LEGEND);
    if (job.plan && this.mesh && this.skin === undefined) {
      this.skin = null;
      try {
        this.skin = await loadSkin(this.name, this.signal);
      } catch (error) {
        if (error.name === "AbortError") return;
        this.say.textContent = error.message;
      }
      if (this.skin && this.mode === "plan") {
        drawSkin(stage.view, this.skin, SHOWN);
        stage.view.stand(upOf(job), [this.mesh, this.skin].filter(Boolean));
        stage.legend(LEGEND);
      }
    }
    this.tools();
    // Files show the best plan so far; they are offered once the work is over.
    if (job.plan && !this.active()) {
      fill(this.more, this.files.place);
      await this.files.load();
    } else fill(this.more);
  }

  // Without its model a plan stands on its own lines.
  standOnLines() {
    const points = this.job.plan.cuts.flatMap((cut) => cut.branches).flatMap((line) => line.points);
    if (points.length > 0) {
      this.stage.view.stand(upOf(this.job), [{ positions: points.flatMap(({ x, y, z }) => [x, y, z]) }]);
    }
  }

  // What stands between the view and its legend: the plan or the way out, and the rubber's slider.
  tools() {
    const { job, stage } = this;
    const tried = job.plan?.trial?.elements > 0;
    const modes =
      tried && !this.active()
        ? el(
            "div",
            { class: "row modes", role: "group", "aria-label": "What is shown" },
            [
              ["plan", "The plan"],
              ["way", "The way out"],
            ].map(([mode, words]) =>
              button(words, () => this.change(mode), { "aria-pressed": String(this.mode === mode) }),
            ),
          )
        : null;
    const fade =
      this.mode === "plan" && this.skin
        ? slider("Rubber", this.shown ?? SHOWN, (shown) => {
            this.shown = shown;
            fadeSkin(stage.view, shown);
          })
        : null;
    fill(stage.more, this.say, modes, this.mode === "way" ? this.way?.place : fade);
  }

  async change(mode) {
    if (mode === this.mode) return;
    this.mode = mode;
    this.way?.close();
    if (mode === "plan") {
      this.stage.view.clearAll();
      if (this.mesh) {
        this.stage.view.setModel(this.mesh);
        this.stage.view.stand(upOf(this.job), [this.mesh, this.skin].filter(Boolean));
      }
      await this.show();
      return;
    }
    this.tools();
    try {
      if (!this.way) {
        this.say.textContent = "The way out is being fetched ...";
        const right = rightInMould(this.skin, upOf(this.job), this.job.request);
        const way = new WayOut(this.stage, { plan: this.name, right, signal: this.signal });
        await way.load();
        this.way = way;
      }
      this.say.textContent = "";
      this.way.show();
      this.stage.legend([
        ["model", "model", "stone"],
        ["rubber", "rubber", "skin"],
        ["board", "board", "board"],
      ]);
    } catch (error) {
      if (error.name === "AbortError") return;
      this.say.textContent = error.message;
    }
    this.tools();
    this.stage.more.querySelector("[aria-pressed=true]")?.focus();
  }

  // Follows the job to its end, over broken connections.
  async watch() {
    this.watching = true;
    try {
      for (;;) {
        try {
          for await (const event of watchPlan(this.name, this.signal)) await this.hear(event);
          if (!this.active()) break;
        } catch (error) {
          if (error.name === "AbortError" || this.signal.aborted) return;
          if (error.code !== "UNAVAILABLE") throw error;
          this.fault = `${error.message} The work goes on; the page asks again.`;
          this.tellWork();
        }
        await new Promise((ready) => {
          setTimeout(ready, AGAIN);
        });
      }
    } catch (error) {
      this.fault = error.message;
      this.tellWork();
    } finally {
      this.watching = false;
    }
  }

  async hear(event) {
    this.fault = "";
    if (event.progress) {
      this.job.state = "JOB_STATE_RUNNING";
      this.job.progress = event.progress;
      this.tellWork();
    } else if (event.better) {
      if (!this.betters.some((own) => own.number === event.better.number)) this.betters.push(event.better);
      else
        this.betters = this.betters.map((own) => (own.number === event.better.number ? event.better : own));
      this.job.best = event.better;
      this.tellWork();
      this.refresh();
    } else if (event.ended) {
      this.way = null;
      this.job = await getPlan({ name: this.name }, this.signal);
      this.tell();
      await this.show();
      say(this.job.plan ? "The plan is done." : "The work has ended without a plan.");
    }
  }

  // Fetches the best plan so far and draws it; one at a time, and of several only the last.
  async refresh() {
    if (this.fetching) {
      this.stale = true;
      return;
    }
    this.fetching = true;
    try {
      do {
        this.stale = false;
        const job = await getPlan({ name: this.name }, this.signal);
        if (!this.active()) return;
        this.job = { ...job, progress: this.job.progress ?? job.progress };
        this.tell();
        await this.show();
      } while (this.stale);
    } catch (error) {
      if (error.name !== "AbortError") this.fault = error.message;
    } finally {
      this.fetching = false;
    }
  }

  close() {
    this.way?.close();
    this.ended.abort();
  }
}

export async function openPlan(frame, [id], current) {
  frame.title("Plan");
  const screen = new PlanScreen(frame, id);
  // The screen may be left while it opens.
  const opening = screen.open();
  const left = setInterval(() => {
    if (!current()) screen.close();
  }, 200);
  try {
    await opening;
  } finally {
    clearInterval(left);
  }
  return () => screen.close();
}
