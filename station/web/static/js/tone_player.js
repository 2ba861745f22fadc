// The reference tone on this phone, by Web Audio: a sine, or a string-like tone of
// exactly harmonic partials. Never sudden, never above LOUDEST_DBFS, never for ever.

export const SOFTEST_DBFS = -50;
export const LOUDEST_DBFS = -20; // as station/sound/tone.py has it
export const LONGEST_S = 30;
const RISE_S = 0.08;
const FALL_S = 0.15;
const SLIDE_S = 0.03;
const MOST_PARTIALS = 12;
const HIGHEST_SHARE = 0.45; // of the sampling rate: no partial folds back

/** Linear peak level of so many dBFS, within what is allowed. */
function gainOf(dbfs) {
  return 10 ** (Math.min(Math.max(dbfs, SOFTEST_DBFS), LOUDEST_DBFS) / 20);
}

/** One period of the string-like tone: exact multiples of hz, falling as a bowed string's 1/k (station/sound/tone.py). */
export function stringWave(context, hz) {
  const reach = Math.floor((HIGHEST_SHARE * context.sampleRate) / hz);
  const sines = new Float32Array(Math.max(1, Math.min(MOST_PARTIALS, reach)) + 1);
  for (let k = 1; k < sines.length; k += 1) sines[k] = 1 / k;
  return context.createPeriodicWave(new Float32Array(sines.length), sines);
}

/** Leave a parameter where it is now, in the middle of a ramp too: no click. */
function hold(parameter, now) {
  if (parameter.cancelAndHoldAtTime) {
    parameter.cancelAndHoldAtTime(now);
    return;
  }
  const { value } = parameter;
  parameter.cancelScheduledValues(now);
  parameter.setValueAtTime(value, now);
}

export class TonePlayer {
  /** It has begun, changed or stopped. */
  onChange = () => {};
  /** What sounds, {hz, voice, levelDbfs}, or null. */
  playing = null;
  #context = null;
  #voice = null; // {source, gain}
  #timer = 0;

  constructor() {
    document.addEventListener("visibilitychange", () => {
      if (document.hidden) this.stop();
    });
    window.addEventListener("pagehide", () => this.stop());
  }

  /** Sound from now on; called in a tap, as browsers want it. */
  play(tone) {
    this.#context ??= new AudioContext();
    this.#context.resume();
    this.#silence();
    const context = this.#context;
    const source = new OscillatorNode(context, { frequency: tone.hz });
    if (tone.voice === "string") source.setPeriodicWave(stringWave(context, tone.hz));
    const gain = new GainNode(context, { gain: 0 });
    source.connect(gain).connect(context.destination);
    const now = context.currentTime;
    const level = gainOf(tone.levelDbfs);
    gain.gain.setValueAtTime(0, now);
    gain.gain.linearRampToValueAtTime(level, now + RISE_S);
    // Told to the sound itself: a phone may hold the page's own timers back.
    gain.gain.setValueAtTime(level, now + LONGEST_S - FALL_S);
    gain.gain.linearRampToValueAtTime(0, now + LONGEST_S);
    source.start(now);
    source.stop(now + LONGEST_S);
    this.#voice = { source, gain };
    this.#timer = setTimeout(() => this.stop(), LONGEST_S * 1000);
    this.#set(tone);
  }

  stop() {
    if (!this.playing) return;
    this.#silence();
    this.#set(null);
  }

  #silence() {
    clearTimeout(this.#timer);
    if (!this.#voice) return;
    const { source, gain } = this.#voice;
    this.#voice = null;
    const now = this.#context.currentTime;
    hold(gain.gain, now);
    gain.gain.setTargetAtTime(0, now, SLIDE_S);
    source.stop(now + FALL_S);
  }

  #set(tone) {
    this.playing = tone;
    this.onChange();
  }
}
