// One strum of all strings: a ladder, and the string to do first.

import { closeBench, openStrum } from "./api.js";
import { Asking } from "./asking.js";
import { el, mark, say } from "./dom.js";
import { Ladder } from "./ladder.js";
import { withCode } from "./room_code.js";
import { faultLine, Sheet } from "./sheet.js";
import { signed, uncertainty } from "./words.js";

const STRUM = "strum all open strings once, and let them ring two seconds";

function numbers(list) {
  return `${list.length === 1 ? "string" : "strings"} ${list.join(", ")}`;
}

/** Courses of which one reading stands for several strings, "1 and 2". */
function togetherWords(rows) {
  const groups = new Map();
  for (const row of rows.filter((each) => each.together)) {
    const key = row.cents === null ? row.string : `${row.note}`;
    groups.set(key, [...(groups.get(key) ?? []), row.string]);
  }
  const told = [...groups.values()].map((each) => (each.length > 1 ? each.join(" and ") : `both of ${each[0]}`));
  return told.length ? `sound as one: ${told.join(", ")}` : "";
}

export class StrumSheet {
  #state;

  constructor(state) {
    this.#state = state;
    this.ladder = new Ladder((note) => state.noteName(note));
    this.word = el("p", { className: "bench-word", id: "strum-word", role: "status" });
    this.more = el("p", { className: "bench-more" });
    this.missing = el("p", { className: "bench-missing" });
    this.small = el("p", { className: "soft bench-small" });
    this.fault = faultLine();
    this.asking = new Asking(this.fault, () => this.#update());
    this.again = el("button", { type: "button", className: "main", onclick: () => this.#open() }, "listen again");
    this.sheet = new Sheet("One strum", [this.ladder.node, el("div", { className: "bench-words" }, this.word, this.more, this.missing, this.small)], [
      this.fault,
      this.again,
    ]);
    this.sheet.node.classList.add("bench-sheet");
    this.sheet.onClose = () => this.#close();
    state.onChange(() => this.sheet.isOpen && this.#update());
  }

  open() {
    say(this.fault, "");
    this.sheet.open();
    this.#update();
    this.#open();
  }

  get #opened() {
    const opened = this.#state.opened(this.#state.me?.id);
    return opened?.kind === "strum" ? opened : null;
  }

  #update() {
    const { me } = this.#state;
    if (!me) return;
    const opened = this.#opened;
    const strum = opened?.strum ?? null;
    this.again.hidden = Boolean(opened) || this.asking.busy;
    const empty = me.strings.map((each) => ({ ...each, cents: null, verdict: null, uncertainty_cents: null }));
    const rows = strum?.strings ?? empty;
    const first = rows.find((row) => strum && row.string === strum.first && row.place === strum.first_place);
    const hint = strum ? "" : opened ? STRUM : this.asking.busy ? "" : "not listening";
    this.ladder.show(rows.map((row) => ({ ...row, first: row === first })), undefined, hint);
    mark(this.ladder.node, "state", strum ? "heard" : "waiting");
    this.#sayWords(strum, rows, first);
  }

  #sayWords(strum, rows, first) {
    mark(this.word, "verdict", strum ? (first?.verdict ?? "in") : null);
    if (!strum) {
      for (const node of [this.word, this.more, this.missing, this.small]) say(node, "");
      return;
    }
    const allIn = strum.missing.length ? "those heard are in" : "all strings are in";
    say(this.word, first ? `string ${first.string}: ${first.verdict}` : allIn);
    say(this.more, first ? `${signed(first.cents)} cents ${uncertainty(first.uncertainty_cents)}, farthest out: do it first` : "");
    say(this.missing, strum.missing.length ? `missing: ${numbers(strum.missing)}` : "");
    const counted = [...new Set(rows.filter((row) => row.counts).map((row) => row.string))];
    const counts = counted.length ? `for the roll call: ${numbers(counted)}` : "a second strum that says the same counts for the roll call";
    const loud = strum.clipped ? "too loud: turn the line down" : "";
    say(this.small, [loud, togetherWords(rows), counts].filter(Boolean).join(" \u00b7 "));
  }

  async #open() {
    const { me } = this.#state;
    if (!me) return;
    await this.asking.ask(
      (code) => openStrum(me.id, this.#state.by, code),
      (told) => (told ? this.#state.setBenchNow(me.id, told) : this.sheet.close()),
    );
  }

  #close() {
    const { me } = this.#state;
    if (me && this.#opened) withCode((code) => closeBench(me.id, this.#state.by, code)).catch(() => {});
  }
}
