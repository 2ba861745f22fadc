// A drummer goes round a head: the rim, where to tap or turn, and one large word.

import { headStep } from "./api.js";
import { Asking } from "./asking.js";
import { el, mark, say } from "./dom.js";
import { HeadPlan } from "./head_plan.js";
import { MoreSheet, OtherLugSheet } from "./head_sheets.js";
import { bigWord, evennessWords, howWords } from "./head_words.js";
import { Rim } from "./rim.js";
import { faultLine } from "./sheet.js";

export class HeadView {
  /** The drummer wants to keep the drum as it is. */
  onKeep = () => {};
  #state;
  #head = null;

  constructor(state) {
    this.#state = state;
    this.plan = new HeadPlan();
    this.word = el("strong", { className: "head-word", id: "head-word" });
    this.how = el("span", { className: "head-how" });
    this.evenness = el("span", { className: "head-evenness" });
    this.rim = new Rim();
    this.says = el("p", { className: "head-says", role: "status" });
    this.farthest = el("p", { className: "head-farthest" });
    this.warning = el("p", { className: "head-warning" });
    this.confusion = el("p", { className: "head-confusion soft" });
    this.fault = faultLine();
    this.asking = new Asking(this.fault);
    const button = (text, name, act) => el("button", { type: "button", className: name, onclick: act }, text);
    this.turned = button("turned", "head-turned main", () => this.#step("turned", { lug: this.#head.turn_next.lug }));
    this.again = button("tap again", "head-again", () => this.#step("again"));
    this.other = button("other lug", "head-other", () => this.others.open(this.#head));
    this.keep = button("keep it", "head-keep main", () => this.onKeep(this.#head.drum));
    this.more = button("more", "head-more", () => this.mores.open(this.#head));
    this.others = new OtherLugSheet((lug) => this.#step("lug", { lug }));
    this.mores = new MoreSheet((step) => this.#step(step));
    this.node = el(
      "div",
      { className: "head-pass" },
      el("div", { className: "head-top" }, this.plan.node, el("p", { className: "head-do" }, this.word, this.how, this.evenness)),
      this.rim.node,
      el("div", { className: "head-words" }, this.says, this.farthest, this.warning, this.confusion, this.fault),
      el("div", { className: "head-buttons" }, this.turned, this.keep, this.again, this.other, this.more),
    );
  }

  /** A live pass; `fault` keeps the station from hearing any stroke, or is null. */
  update(head, fault) {
    this.#head = head;
    const turn = head.tap_next === null ? head.turn_next : null;
    const done = head.tap_next === null && !turn;
    this.plan.draw({ ...head, tap: head.tap_next, turn });
    this.rim.update(head);
    mark(this.node, "doing", head.tap_next !== null ? "tap" : turn ? turn.verdict : "in");
    say(this.word, bigWord(head));
    mark(this.word, "long", this.word.textContent.length > 7 ? "yes" : null);
    say(this.how, howWords(head));
    say(this.evenness, evennessWords(head));
    say(this.says, fault || head.says);
    say(this.farthest, head.farthest?.says ?? "");
    say(this.warning, head.warning ?? "");
    say(this.confusion, head.confusion ?? "");
    this.turned.hidden = !turn;
    this.keep.hidden = !done;
    this.again.hidden = this.other.hidden = head.tap_next === null;
    this.again.disabled = head.last === null;
  }

  async #step(step, what = {}) {
    const { me } = this.#state;
    if (!me) return;
    await this.asking.ask(
      (code) => headStep(me.id, step, { ...what, by: this.#state.by }, code),
      (told) => told && this.#state.setHeadNow(me.id, told),
    );
  }
}
