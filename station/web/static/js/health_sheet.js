// Is a string dull, or false? Its plucks today against its own first day.

import { closeBench, newStrings, openHealth } from "./api.js";
import { Asking } from "./asking.js";
import { el, mark, say } from "./dom.js";
import { withCode } from "./room_code.js";
import { faultLine, Sheet } from "./sheet.js";
import { clock } from "./words.js";

const NEW = "new strings today";
const SURE = "forget the old ones\u2019 first days?";
const HOW = "pluck it open, let it ring three seconds; the other strings damped";

function day(iso) {
  const at = new Date(iso);
  return Number.isNaN(at.getTime()) ? "" : `${at.toLocaleDateString()} ${clock(iso)}`;
}

export class HealthSheet {
  #state;

  constructor(state) {
    this.#state = state;
    this.strings = el("div", { className: "health-strings", role: "group", "aria-label": "string" });
    this.how = el("p", { className: "saddle-asked", role: "status" });
    this.count = el("p", { className: "health-count" });
    this.word = el("p", { className: "bench-word", id: "health-word" });
    this.why = el("ul", { className: "plain-list" });
    this.small = el("p", { className: "soft bench-small" });
    this.fault = faultLine();
    this.asking = new Asking(this.fault, () => this.#update());
    this.fresh = el("button", { type: "button", onclick: () => this.#putOn() }, NEW);
    this.sheet = new Sheet(
      "Worn strings",
      [this.strings, this.how, this.count, el("div", { className: "bench-words" }, this.word, this.why, this.small)],
      [this.fault, el("div", { className: "buttons" }, this.fresh)],
    );
    this.sheet.node.classList.add("bench-sheet");
    this.sheet.onClose = () => this.#close();
    state.onChange(() => this.sheet.isOpen && this.#update());
  }

  open() {
    const { me } = this.#state;
    if (!me) return;
    say(this.fresh, NEW);
    say(this.fault, "");
    this.strings.replaceChildren(
      ...me.strings.map((each) => {
        const button = el("button", { type: "button", onclick: () => this.#open(each.string) }, el("strong", {}, String(each.string)), el("span", { className: "soft" }, this.#state.noteName(each.note)), el("span", { className: "health-found" }));
        button.dataset.string = each.string;
        return button;
      }),
    );
    this.sheet.open();
    this.#update();
    this.#open(me.strings[0].string);
  }

  get #health() {
    return this.#state.opened(this.#state.me?.id)?.health ?? null;
  }

  // What is known of the strings before is lost by it: asked once more.
  #putOn() {
    if (this.#health?.known.length && this.fresh.textContent === NEW) {
      say(this.fresh, SURE);
      return;
    }
    say(this.fresh, NEW);
    this.#change((me, code) => newStrings(me.id, this.#state.by, code));
  }

  #update() {
    const health = this.#health;
    say(this.how, health ? HOW : this.asking.busy ? "" : "not listening: choose a string");
    for (const button of this.strings.children) {
      const number = button.dataset.string;
      mark(button, "open", health && String(health.string) === number ? "yes" : null);
      const found = health?.found[number] ?? (health?.known.includes(Number(number)) ? "first day known" : "");
      say(button.lastChild, found);
    }
    say(this.count, health ? this.#countWords(health) : "");
    say(this.word, health?.health ?? "");
    this.why.replaceChildren(...(health?.why ?? []).map((each) => el("li", {}, each)));
    say(this.small, health ? this.#smallWords(health) : "");
  }

  #countWords(health) {
    if (health.since === null) return "";
    return `${Math.min(health.plucks, health.wanted)} of ${health.wanted} plucks`;
  }

  #smallWords(health) {
    if (health.since === null) return "A string is held against its own first day: tap \u201cnew strings today\u201d on the day you put a set on, then pluck each string five times.";
    const since = `These strings are on since ${day(health.since)}.`;
    return health.first_plucks ? since : `${since} The next plucks are this string's first day.`;
  }

  #open(string) {
    return this.#change((me, code) => openHealth(me.id, { string, by: this.#state.by }, code));
  }

  async #change(ask) {
    const { me } = this.#state;
    if (me) await this.asking.ask((code) => ask(me, code), (told) => told && this.#state.setBenchNow(me.id, told));
  }

  #close() {
    const { me } = this.#state;
    if (me && this.#health) withCode((code) => closeBench(me.id, this.#state.by, code)).catch(() => {});
  }
}
