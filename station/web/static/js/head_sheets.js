// Sheets of the head pass: begin one, name another lug, and what is asked for now and then.

import { beginHead, drums } from "./api.js";
import { el, mark, say } from "./dom.js";
import { crossOrder, HeadPlan } from "./head_plan.js";
import { withCode } from "./room_code.js";
import { faultLine, Sheet } from "./sheet.js";

const LUG_COUNTS = [4, 5, 6, 8, 10, 12];
const PHASES = { fine: "it is up already: clockwise", cross: "from finger-tight: across first" };
const ANOTHER = "";

/** Large buttons of which one is chosen. */
class Choice {
  constructor(options, chosen, onChoose = () => {}) {
    this.buttons = new Map(
      options.map(([value, words]) => [
        value,
        el("button", { type: "button", className: "pick", "aria-pressed": "false", onclick: () => this.choose(value) }, words),
      ]),
    );
    this.node = el("div", { className: "picks" }, ...this.buttons.values());
    this.onChoose = onChoose;
    this.choose(chosen);
  }

  choose(value) {
    this.value = value;
    for (const [each, button] of this.buttons) button.setAttribute("aria-pressed", String(each === value));
    this.onChoose(value);
  }
}

export class BeginHeadSheet {
  #state;

  constructor(state) {
    this.#state = state;
    this.plan = new HeadPlan();
    this.lugs = new Choice(LUG_COUNTS.map((each) => [each, String(each)]), 6, () => this.#draw());
    this.lugs.node.classList.add("numbers-of-lugs");
    this.phase = new Choice(Object.entries(PHASES), "fine", () => this.#draw());
    this.drum = el("select", { name: "drum" });
    this.cautions = el("ul", { className: "cautions" });
    this.fault = faultLine();
    const begin = el("button", { type: "button", className: "main stick", onclick: () => this.#begin() }, "begin");
    this.sheet = new Sheet(
      "Even head",
      [
        el("div", { className: "plan-and-lugs" }, this.plan.node, el("div", {}, el("h3", {}, "lugs"), this.lugs.node)),
        this.phase.node,
        el("label", { className: "sheet-label" }, el("span", {}, "which drum"), this.drum),
        el("p", { className: "soft" }, "A finger lightly on the centre, the stick an inch and a half to two inches from the lug. Lug 1 is the one you begin with; count clockwise."),
        this.cautions,
      ],
      [this.fault, el("div", { className: "buttons" }, begin)],
    );
    this.#draw();
  }

  async open() {
    say(this.fault, "");
    this.sheet.open();
    try {
      const told = await drums();
      const options = told.drums.map((each) => el("option", { value: each.name }, each.name));
      this.drum.replaceChildren(el("option", { value: ANOTHER }, "one that is not kept"), ...options);
      this.cautions.replaceChildren(...told.cautions.map((each) => el("li", {}, each)));
      this.drum.onchange = () => this.#rememberLugs(told.drums);
    } catch (error) {
      say(this.fault, error.message);
    }
  }

  #rememberLugs(kept) {
    const lugs = kept.find((each) => each.name === this.drum.value)?.good?.head?.lugs;
    if (lugs) this.lugs.choose(lugs);
  }

  #draw() {
    const [lugs, phase] = [this.lugs?.value ?? 6, this.phase?.value ?? "fine"];
    this.plan.draw({ lugs, phase, order: crossOrder(lugs) });
  }

  async #begin() {
    const { me } = this.#state;
    if (!me) return;
    const what = { lugs: this.lugs.value, phase: this.phase.value, by: this.#state.by };
    if (this.drum.value) what.drum = this.drum.value;
    try {
      const told = await withCode((code) => beginHead(me.id, what, code));
      if (!told) return;
      this.#state.setHeadNow(me.id, told);
      this.sheet.close();
    } catch (error) {
      say(this.fault, error.message);
    }
  }
}

/** Whoever taps another lug than the one asked for says which. */
export class OtherLugSheet {
  constructor(onChoose) {
    this.grid = el("div", { className: "lug-grid" });
    this.onChoose = onChoose;
    this.sheet = new Sheet("Which lug will you tap?", [this.grid]);
  }

  open(head) {
    const buttons = Array.from({ length: head.lugs }, (_, at) => {
      const lug = at + 1;
      const button = el("button", { type: "button", onclick: () => this.#choose(lug) }, String(lug));
      mark(button, "next", lug === head.tap_next ? "yes" : null);
      return button;
    });
    this.grid.replaceChildren(...buttons);
    this.sheet.open();
  }

  #choose(lug) {
    this.sheet.close();
    this.onChoose(lug);
  }
}

/** What is asked for now and then. */
export class MoreSheet {
  constructor(onStep) {
    const button = (text, step) => el("button", { type: "button", className: "stick", onclick: () => this.#choose(step, onStep) }, text);
    this.all = button("all turned as advised: next round", "turned");
    this.round = button("tap the whole round anew", "restart");
    this.leave = button("leave this head", "leave");
    this.farthest = el("p", {});
    this.confusion = el("p", { className: "soft" });
    this.sheet = new Sheet("This head", [this.all, this.round, this.leave, this.farthest, this.confusion]);
  }

  open(head) {
    this.all.hidden = head.tap_next !== null || head.to_turn.length === 0;
    say(this.farthest, head.farthest?.says ?? "");
    say(this.confusion, head.confusion ?? "");
    this.sheet.open();
  }

  #choose(step, onStep) {
    this.sheet.close();
    onStep(step);
  }
}
