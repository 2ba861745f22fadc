// "The band": the roll call of every player and every string, for the whole room to read.

import { el, mark, say } from "./dom.js";
import { tapSentence } from "./drum_words.js";
import { shape } from "./shapes.js";
import { Stave } from "./stave.js";
import { QuietButton } from "./quiet_button.js";
import { facts } from "./station_facts.js";
import { offsetsLabel } from "./offsets.js";
import { reachable, signed } from "./words.js";

class Row {
  #noteName;

  constructor(noteName) {
    this.#noteName = noteName;
    this.name = el("h3");
    this.what = el("span", { className: "soft" });
    this.state = el("p", { className: "row-state" });
    this.offsets = el("p", { className: "row-offsets" });
    this.tap = el("p", { className: "row-tap" });
    this.stave = new Stave(noteName);
    this.node = el(
      "article",
      { className: "row" },
      el("header", {}, this.name, this.what, this.state),
      this.offsets,
      this.tap,
      this.stave.node,
    );
  }

  update(player, now) {
    say(this.name, player.name);
    say(this.what, player.tuning_label || player.instrument_label);
    say(this.offsets, offsetsLabel(player, this.#noteName));
    this.offsets.hidden = this.offsets.textContent === "";
    say(this.tap, player.taps ? tapSentence(player.taps, this.#noteName) : "");
    this.tap.hidden = !player.taps;
    this.stave.update(player.strings, now);
    this.stave.node.hidden = player.strings.length === 0;
    const total = player.strings.length;
    const done = player.strings.filter((each) => each.roll === "in").length;
    mark(this.node, "complete", total > 0 && done === total ? "yes" : null);
    mark(this.state, "verdict", now?.string ? now.verdict : null);
    say(this.state, this.#words(player, now, done, total));
  }

  #words(player, now, done, total) {
    if (now && now.string !== null && now.verdict) return `${this.#noteName(now.target)} ${now.verdict}`;
    if (now && total === 0) return `${this.#noteName(now.note)} ${signed(now.cents)}`;
    if (player.taps) return player.taps.tap ? this.#noteName(player.taps.tap.note) : "";
    if (total === 0) return player.kind === "fixed" ? "fixed pitch" : "nothing to tune";
    return done === total ? "all in" : `${done} of ${total}`;
  }
}

export class BandView {
  #state;
  #rows = new Map();

  constructor(root, state) {
    this.#state = state;
    this.many = el("strong", { id: "roll-in" });
    this.of = el("span", { id: "roll-of" });
    this.rest = el("p", { id: "roll-rest", className: "soft" });
    this.whole = shape("whole");
    this.list = el("div", { className: "rows" });
    this.facts = el("ul", { className: "facts", id: "station" });
    this.quiet = new QuietButton(state);
    this.qr = el("img", { alt: "QR code of this page's address", width: 180, height: 180, loading: "lazy" });
    this.addresses = el("p", { className: "addresses" });
    root.append(
      el("div", { className: "roll", id: "roll-call" }, el("p", { className: "roll-count" }, this.many, this.of), this.rest, this.whole.node),
      this.list,
      el("p", { className: "files" },
        el("a", { className: "button", href: "#songs" }, "running order"),
        el("a", { className: "button", href: "#everyone" }, "everyone on one screen")),
      el("section", { className: "join" }, this.qr, el("div", {}, el("h3", {}, "Join with your phone"), this.addresses)),
      this.quiet.node,
      this.facts,
    );
    this.root = root;
    state.onChange(() => this.#update());
  }

  #update() {
    const room = this.#state.room;
    if (!room) return;
    this.#sayRoll(room.roll_call);
    for (const [id, row] of this.#rows) {
      if (!this.#state.player(id)) {
        row.node.remove();
        this.#rows.delete(id);
      }
    }
    for (const player of room.players) {
      if (!this.#rows.has(player.id)) {
        this.#rows.set(player.id, new Row((note) => this.#state.noteName(note)));
        this.list.append(this.#rows.get(player.id).node);
      }
      this.#rows.get(player.id).update(player, this.#state.now(player.id));
    }
    this.#sayStation(room);
  }

  #sayRoll(call) {
    mark(this.root, "complete", call.complete ? "yes" : null);
    say(this.many, call.complete ? "all in" : String(call.in));
    say(this.of, call.complete ? "" : `of ${call.total} in`);
    const rest = [];
    if (call.out) rest.push(`${call.out} out`);
    if (call.not_heard) rest.push(`${call.not_heard} not heard`);
    say(this.rest, call.complete ? `all ${call.total} strings are in` : rest.join(" · "));
  }

  #sayStation(room) {
    const { station } = room;
    const lines = facts(room);
    const text = lines.join("\n");
    if (this.facts.dataset.text !== text) {
      this.facts.dataset.text = text;
      this.facts.replaceChildren(...lines.map((line) => el("li", {}, line)));
    }
    const addresses = reachable(station.addresses).join("\n");
    if (this.addresses.textContent !== addresses) {
      say(this.addresses, addresses);
      this.qr.src = `/qr.svg?for=${encodeURIComponent(addresses)}`;
    }
  }
}
