// "My strings": who I am, the field, and my strings' stave; for a drummer, the taps.

import { BenchMenu } from "./bench_menu.js";
import { el, mark, say } from "./dom.js";
import { DrumMenu } from "./drum_menu.js";
import { DrumView } from "./drum_view.js";
import { BEATS, Field } from "./field.js";
import { HeadView } from "./head_view.js";
import { NamesChoice } from "./names_choice.js";
import { offsetsLabel, offsetWords } from "./offsets.js";
import { Stave } from "./stave.js";
import { TuningForm } from "./tuning_form.js";
import { count, hum, HUM_REMEDY, humsLoudly, signed, tolerance } from "./words.js";

export class StringsView {
  #state;

  constructor(root, state) {
    this.#state = state;
    const noteName = (note) => state.noteName(note);
    this.field = new Field(noteName);
    this.stave = new Stave(noteName);
    this.drum = new DrumView(state);
    this.head = new HeadView(state);
    this.menu = new DrumMenu(state);
    this.drum.onMore = () => this.menu.open();
    this.head.onKeep = (name) => this.menu.keeping.open(name);
    this.form = new TuningForm(new NamesChoice(state), state);
    this.benchMenu = new BenchMenu(state);
    this.bench = el("button", { type: "button", className: "open-bench", onclick: () => this.benchMenu.open() }, "bench");
    this.name = el("strong");
    this.what = el("span", { className: "soft" });
    this.call = el("span");
    this.tolerance = el("span");
    this.callRow = el("p", { className: "call" }, this.call, this.tolerance);
    this.offsets = el("p", { className: "offset-words" });
    this.change = el("button", { type: "button", onclick: () => this.#openForm() }, "change");
    this.choices = el("div", { className: "choices" });
    this.chooser = el("div", { className: "chooser" }, el("h2", {}, "Who are you?"), this.choices, new NamesChoice(state).node);
    this.tuner = el(
      "div",
      { className: "tuner" },
      el("div", { className: "me" }, el("p", {}, this.name, this.what), this.bench, this.change),
      this.field.node,
      this.field.numbers,
      this.drum.node,
      this.head.node,
      this.stave.node,
      this.offsets,
      this.callRow,
    );
    root.append(this.chooser, this.tuner, this.form.node);
    this.form.onAnother = () => this.#choose("");
    state.onChange((what) => this.#update(what));
    this.#update("room");
  }

  get me() {
    return this.#state.me;
  }

  #update(what) {
    const me = this.me;
    this.chooser.hidden = Boolean(me) || !this.#state.room;
    this.tuner.hidden = !me;
    if (!me) {
      if (what === "room" && this.#state.room) this.#offer();
      return;
    }
    const now = this.#state.now(me.id);
    say(this.name, me.name);
    const capo = me.capo ? `capo ${me.capo}` : "";
    say(this.what, [me.instrument_label, me.tuning_label, capo].filter(Boolean).join(" · "));
    this.stave.update(me.strings, now);
    this.stave.node.hidden = me.strings.length === 0;
    this.bench.hidden = me.strings.length === 0;
    this.#sayOffsets(me, now);
    this.#sayCall(me);
    this.#showField(me, now);
  }

  #showField(me, now) {
    mark(this.tuner, "kind", me.kind);
    const head = me.taps ? (this.#state.room.heads?.passes[me.id] ?? null) : null;
    this.drum.node.hidden = me.taps === null || head !== null;
    this.head.node.hidden = head === null;
    this.field.node.hidden = this.field.numbers.hidden = me.taps !== null;
    if (head) this.head.update(head, this.#stationHint() ?? this.#lineHint(me));
    else if (me.taps) this.drum.update(me, this.#stationHint() ?? this.#lineHint(me), this.#humHint(me));
    else if (now && now.string !== null && now.verdict) this.field.showString(now);
    else if (now) this.field.showPitch(now, this.#farHint(me, now));
    else this.field.showNothing(this.#silentHint(me), this.#smallPrint(me));
  }

  #farHint(me, now) {
    const shared = this.#state.room.turns?.some((line) => line.turn === null && line.players.includes(me.id));
    if (shared) return "whose is it? take the turn";
    if (me.strings.length) return "no string of yours is near this note";
    const side = now.cents < 0 ? "below" : "above";
    return `${signed(now.cents).replace(/^[+\u2212]/, "")} cents ${side} the reference`;
  }

  // What keeps the station from hearing anyone, or null.
  #stationHint() {
    if (this.#state.link !== "live") return "";
    return this.#state.room.station.input.state === "listening" ? null : "not listening";
  }

  // What keeps it from hearing this player, or null.
  #lineHint(me) {
    const line = this.#state.line(me.line);
    if (line?.clipped) return `line ${me.line} is too loud: turn it down`;
    if (line?.state === "no signal") return `no signal on line ${me.line}: is the lead in?`;
    return null;
  }

  #silentHint(me) {
    const hint = this.#stationHint() ?? this.#lineHint(me);
    if (hint !== null) return hint;
    if (this.#state.room.roll_call.complete) return "everyone is in";
    return me.strings.length ? "play a string" : "play a note";
  }

  // Hum that asks to be seen to comes instead of what can be read any time.
  #smallPrint(me) {
    if (this.#stationHint() !== null) return "";
    const line = this.#state.line(me.line);
    const beats = me.strings.length && !humsLoudly(line) ? BEATS : "";
    return [this.#humHint(me), beats].filter(Boolean).join("\n\n");
  }

  #humHint(me) {
    const line = this.#state.line(me.line);
    if (this.#stationHint() !== null) return "";
    return humsLoudly(line) ? `${hum(line)}: ${HUM_REMEDY}` : hum(line);
  }

  // Of the string that sounds; else of all that have one.
  #sayOffsets(me, now) {
    const sounding = me.strings.find((each) => each.string === now?.string);
    say(this.offsets, offsetWords(sounding, me) || offsetsLabel(me, (note) => this.#state.noteName(note)));
    this.offsets.hidden = this.offsets.textContent === "";
  }

  #sayCall(me) {
    const total = me.strings.length;
    const done = me.strings.filter((each) => each.roll === "in").length;
    this.callRow.hidden = total === 0;
    say(this.call, done === total ? "all your strings are in" : `${done} of ${count(total, "string")} in`);
    say(this.tolerance, tolerance(this.#state.room.station.in_cents));
    mark(this.callRow, "complete", done === total ? "yes" : null);
  }

  #offer() {
    const players = this.#state.room.players;
    const signature = players.map((each) => `${each.id}\n${each.name}\n${each.instrument}`).join();
    if (this.choices.dataset.players === signature) return;
    this.choices.dataset.players = signature;
    this.choices.replaceChildren(
      ...players.map((player) =>
        el(
          "button",
          { type: "button", onclick: () => this.#choose(player.id) },
          el("strong", {}, player.name),
          el("span", { className: "soft" }, `${player.instrument_label}, line ${player.line}`),
        ),
      ),
    );
  }

  #choose(id) {
    this.#state.chooseMe(id);
  }

  #openForm() {
    if (this.me) this.form.open(this.me);
  }
}
