// "Hear the tone": which note, with which voice, how loud, and from where.

import { playTone, stopTone } from "./api.js";
import { el, say } from "./dom.js";
import { withCode } from "./room_code.js";
import { faultLine, Sheet } from "./sheet.js";
import { ToneCaution } from "./tone_caution.js";
import { TonePitch } from "./tone_pitch.js";
import { LONGEST_S, LOUDEST_DBFS, SOFTEST_DBFS, TonePlayer } from "./tone_player.js";
import { signed } from "./words.js";

const FIRST_DBFS = -35;
const STEP_DB = 5;
const VOICES = { sine: "sine", string: "string-like" };
const QUIET = "the station is quiet: no tone is played";

export class ToneSheet {
  #state;
  #voice = "sine";
  #dbfs = FIRST_DBFS;

  constructor(state) {
    this.#state = state;
    this.player = new TonePlayer();
    this.player.onChange = () => this.update();
    this.caution = new ToneCaution();
    this.caution.onRead = () => this.update();
    this.pitch = new TonePitch(state);
    this.pitch.onChange = () => this.#again();
    this.voices = Object.entries(VOICES).map(([voice, name]) =>
      el("button", { type: "button", onclick: () => this.#setVoice(voice), "aria-pressed": "false" }, name));
    this.level = el("output", { className: "tone-level" });
    this.softer = el("button", { type: "button", onclick: () => this.#setLevel(-STEP_DB) }, "softer");
    this.louder = el("button", { type: "button", onclick: () => this.#setLevel(STEP_DB) }, "louder");
    this.here = el("button", { type: "button", className: "main", onclick: () => this.#playHere() });
    this.there = el("button", { type: "button", onclick: () => this.#playThere() });
    this.why = el("p", { className: "soft", role: "status" });
    this.fault = faultLine();
    this.controls = el(
      "div",
      { className: "tone" },
      this.pitch.node,
      el("div", { className: "tone-voices", role: "group", "aria-label": "voice" }, ...this.voices),
      el("div", { className: "tone-levels", role: "group", "aria-label": "level" }, this.softer, this.level, this.louder),
    );
    this.starts = el("div", { className: "tone-starts" }, this.why, this.fault, this.here, this.there);
    this.sheet = new Sheet("Hear the tone", [this.caution.node, this.controls], [this.starts]);
    this.sheet.onClose = () => this.player.stop();
    state.onChange((what) => {
      if (what === "room") this.#follow();
    });
  }

  open() {
    say(this.fault, "");
    this.caution.update();
    this.sheet.open();
    this.update();
  }

  update() {
    if (!this.#state.room) return;
    const { station, tone } = this.#state.room;
    const mayPlay = this.caution.isRead;
    this.controls.hidden = !mayPlay;
    this.starts.hidden = !mayPlay;
    this.pitch.update();
    this.voices.forEach((button, i) => button.setAttribute("aria-pressed", String(Object.keys(VOICES)[i] === this.#voice)));
    say(this.level, `level ${signed(this.#dbfs, 0)} dB`);
    this.softer.disabled = this.#dbfs <= SOFTEST_DBFS;
    this.louder.disabled = this.#dbfs >= LOUDEST_DBFS;
    say(this.here, this.player.playing ? "stop on this phone" : "play on this phone");
    say(this.there, tone ? "stop at the station" : "play at the station");
    const isReady = station.tone_out.state === "ready";
    this.here.disabled = station.quiet;
    this.there.disabled = !tone && (station.quiet || !isReady);
    say(this.why, this.#words(station, isReady));
  }

  #words(station, isReady) {
    if (station.quiet) return QUIET;
    const reason = station.tone_out.reason ?? `its line output is ${station.tone_out.state}`;
    if (!isReady) return `The station cannot play it: ${reason}`;
    const but = station.tone_out.reason ? ` At the station: ${station.tone_out.reason}.` : "";
    return `It ends by itself after ${LONGEST_S} seconds.${but}`;
  }

  // The reference may have moved while the tone sounds, or quiet begun.
  #follow() {
    if (this.#state.room.station.quiet) this.player.stop();
    else if (this.player.playing && this.player.playing.hz !== this.pitch.hz) this.#again();
    if (this.sheet.isOpen) this.update();
  }

  #again() {
    if (this.player.playing) this.player.play(this.#tone);
    this.update();
  }

  get #tone() {
    return { hz: this.pitch.hz, voice: this.#voice, levelDbfs: this.#dbfs };
  }

  #setVoice(voice) {
    this.#voice = voice;
    this.#again();
  }

  #setLevel(step) {
    this.#dbfs = Math.min(Math.max(this.#dbfs + step, SOFTEST_DBFS), LOUDEST_DBFS);
    this.#again();
  }

  #playHere() {
    if (this.player.playing) this.player.stop();
    else this.player.play(this.#tone);
  }

  async #playThere() {
    say(this.fault, "");
    const asked = { note: this.pitch.note, voice: this.#voice, level_dbfs: this.#dbfs, seconds: LONGEST_S };
    const sounds = this.#state.room.tone !== null;
    try {
      await withCode((code) => (sounds ? stopTone(this.#state.by, code) : playTone(asked, code)));
    } catch (error) {
      say(this.fault, error.message);
    }
  }
}
