// Numbers and words as the page says them.

const MINUS = "\u2212";
const LOUD_HUM_DBFS = -50; // common practice, no source; station/room/mains.py has it, too
/** What helps against loud hum; station/room/mains.py says the same (common practice, no source). */
export const HUM_REMEDY =
  "keep the cable off mains leads, break a ground loop with an isolating DI box, and never lift a mains earth";

/** "+3.2", "−14.0": always with a sign, except for nought. */
export function signed(value, digits = 1) {
  const text = Math.abs(value).toFixed(digits);
  if (Number(text) === 0) return text;
  return (value < 0 ? MINUS : "+") + text;
}

/** A standard deviation of cents: two digits where they mean something, and never nought. */
export function uncertainty(cents) {
  return "±" + (cents < 0.095 ? Math.max(cents, 0.01).toFixed(2) : cents.toFixed(1));
}

/** Beats a second with the digits an eye can use. */
export function beats(hz) {
  return hz < 9.95 ? hz.toFixed(1) : hz.toFixed(0);
}

/** Hours and minutes of an ISO time, in the phone's own time zone. */
export function clock(iso, withSeconds = false) {
  const at = new Date(iso);
  if (Number.isNaN(at.getTime())) return "";
  const options = { hour: "2-digit", minute: "2-digit", hourCycle: "h23" };
  if (withSeconds) options.second = "2-digit";
  return at.toLocaleTimeString([], options);
}

/** "mains hum 50.0 Hz, −41 dBFS" of a line of the room; nothing where it has none. */
export function hum(line) {
  if (typeof line?.hum_hz !== "number") return "";
  return `mains hum ${line.hum_hz.toFixed(1)} Hz, ${signed(line.hum_dbfs, 0)} dBFS`;
}

/** Whether something should be done about a line's hum. */
export function humsLoudly(line) {
  return hum(line) !== "" && line.hum_dbfs > LOUD_HUM_DBFS;
}

/** "1 string", "3 strings". */
export function count(number, thing) {
  return `${number} ${thing}${number === 1 ? "" : "s"}`;
}

/**
 * Where one string stands: `verdict` and `cents`, or null when it was not heard yet.
 * While the string sounds, `now` is its reading and alone decides; then the roll call.
 */
export function standing(string, now = null) {
  if (now?.string === string.string && now.verdict) return { verdict: now.verdict, cents: now.string_cents };
  if (string.roll === "not heard") return null;
  if (string.roll === "in") return { verdict: "in", cents: 0 };
  return { verdict: string.cents > 0 ? "slacken" : "tighten", cents: string.cents ?? 0 };
}

/** The same as a sentence's end. */
export function standingWords(stands) {
  if (!stands) return "not heard yet";
  return stands.verdict === "in" ? "in" : `${stands.verdict}, ${signed(stands.cents)} cents`;
}

/** "441.2", "441.25": hundredths of a hertz only where there are any. */
export function hertz(hz) {
  const text = hz.toFixed(2);
  return text.endsWith("0") ? text.slice(0, -1) : text;
}

/** Hertz as people write them, "441.2", "441,2 Hz", to hundredths; NaN for anything else. */
export function hertzFrom(text) {
  const [, number] = /^(\d+(?:[.,]\d*)?)(?:\s*hz)?$/i.exec(text.trim()) ?? [];
  return number === undefined ? NaN : Math.round(Number(number.replace(",", ".")) * 100) / 100;
}

/** "in: within 2 cents". */
export function tolerance(inCents) {
  return `in: within ${count(inCents, "cent")}`;
}

/** How long ago: "now", "40 s", "12 min", "3 h". */
export function ageWords(seconds) {
  if (seconds < 10) return "now";
  if (seconds < 60) return `${Math.floor(seconds / 10) * 10} s`;
  if (seconds < 3600) return `${Math.floor(seconds / 60)} min`;
  return `${Math.floor(seconds / 3600)} h`;
}

// What the station says of a change on its page, where nobody gave a name.
const ON_THE_PAGE = "set on the page";
export const NOBODY = "someone on the page";

/** Who set the reference, what it was taken from, and when: one short line. */
export function origin({ by, source, set_at }) {
  const who = by && by !== NOBODY ? `by ${by}` : "";
  const from = source === "settings" ? "from the settings" : source;
  const told = source === ON_THE_PAGE && who ? "" : from;
  return [who, told, set_at ? clock(set_at) : ""].filter(Boolean).join(", ");
}

/** Those of the page's addresses that lead another phone here; all where none does. */
export function reachable(addresses) {
  const loopback = ["localhost", "[::1]"];
  const others = addresses.filter((each) => {
    const { hostname } = new URL(each);
    return !loopback.includes(hostname) && !hostname.startsWith("127.");
  });
  return others.length ? others : addresses;
}
