// The coming sessions at a mark, over /v1: asked once, drawn here. Nothing is kept but the key, and that for this tab.
import { drawCurve } from "/shore/curve.js";

const SIGNS = { danger: "!!", caution: "!", not_assessed: "?", info: "i" };
const WORDS = { danger: "danger", caution: "caution", not_assessed: "not assessed", info: "nothing known against it" };
const at = (id) => document.getElementById(id);
const key = at("key");
key.value = sessionStorage.getItem("ebbmark-key") ?? "";
// So many sessions are listed before somebody asks for more.
const FIRST = 8;
let asked = 0;

async function call(path, body) {
  const headers = { accept: "application/json" };
  if (key.value) headers.authorization = `Bearer ${key.value}`;
  if (body) headers["content-type"] = "application/json";
  const response = await fetch(path, { method: body ? "POST" : "GET", headers, body: body && JSON.stringify(body) });
  const found = await response.json();
  if (response.ok) return found;
  if (response.status === 401) key.closest("label").hidden = false;
  const faults = (found.errors ?? []).map((one) => `${one.field}: ${one.problem}`).join("; ");
  throw new Error(`${found.title}. ${faults || found.detail}`);
}

async function everything(path) {
  const items = [];
  for (let cursor = null, first = true; first || cursor; first = false) {
    const page = await call(`${path}?limit=200${cursor ? `&cursor=${encodeURIComponent(cursor)}` : ""}`);
    items.push(...page.items);
    cursor = page.next_cursor;
  }
  return items;
}

function element(name, text, className) {
  const made = document.createElement(name);
  if (text !== undefined) made.textContent = text;
  if (className) made.className = className;
  return made;
}

function sign(grade) {
  const made = element("span", SIGNS[grade], `sign ${grade}`);
  made.setAttribute("role", "img");
  made.setAttribute("aria-label", WORDS[grade]);
  return made;
}

function say(text, isFault = false) {
  at("said").textContent = text;
  at("said").className = isFault ? "fault" : "";
}

// Times are written as the service gives them, with the offset of the mark: the clock of the browser has no part in it.
const clock = (instant) => instant.slice(11, 16);
const day = (instant) =>
  new Intl.DateTimeFormat("en-GB", { weekday: "short", day: "numeric", month: "short", timeZone: "UTC" })
    .format(new Date(`${instant.slice(0, 10)}T12:00:00Z`));

const nameOf = (rule) => rule.species.local_name ?? rule.name;

async function fill() {
  const [marks, rules, factors] = await Promise.all([
    everything("/v1/marks"), everything("/v1/species-rules"), call("/v1/factors"),
  ]);
  words = new Map(factors.items.map((one) => [one.name, one.words]));
  at("mark").replaceChildren(...marks.map((one) => new Option(one.name, one.id)));
  const named = rules.map((one) => new Option(nameOf(one.rule), one.id));
  at("rule").replaceChildren(new Option("all of them", ""), ...named);
  marks.forEach((one, place) => { at("mark").options[place].dataset.zone = one.time_zone; });
  if (!marks.length) say("There is no mark yet: POST one to /v1/marks.");
  return new Map(rules.map((one) => [one.id, nameOf(one.rule)]));
}

let species = new Map();
let words = new Map();

async function find() {
  const turn = ++asked;
  say("Looking …");
  at("one").hidden = true;
  at("sessions").replaceChildren();
  at("without").replaceChildren();
  at("more").hidden = true;
  const choice = at("mark").selectedOptions[0];
  if (!choice) return;
  const start = new Date(Math.ceil(Date.now() / 60000) * 60000);
  const end = new Date(start.getTime() + Number(at("days").value) * 86400000);
  const found = await call("/v1/sessions/search", {
    start: start.toISOString(), end: end.toISOString(), mark_ids: [choice.value],
    rule_ids: at("rule").value ? [at("rule").value] : null, plan: true, limit: 50, tz: choice.dataset.zone,
  });
  if (turn !== asked) return;
  const entries = found.sessions.map((one) => entry(one, choice));
  at("sessions").replaceChildren(...entries.slice(0, FIRST));
  at("more").hidden = entries.length <= FIRST;
  at("more").textContent = `${entries.length - FIRST} more`;
  at("more").onclick = () => {
    at("sessions").append(...entries.slice(FIRST));
    at("more").hidden = true;
    entries[FIRST].querySelector("button").focus();
  };
  const reasons = found.without_session.flatMap((one) => one.reasons);
  at("without").replaceChildren(...reasons.map((text) => element("li", text)));
  const count = found.sessions.length;
  say(count ? `${count} session${count === 1 ? "" : "s"} in ${at("days").value} days, the best first.` : "No session.");
  at("sessions").querySelector("button")?.click();
}

function fishOf(session) {
  const names = session.legs.flatMap((leg) => leg.rules)
    .sort((one, other) => other.score_hours - one.score_hours).map((rule) => species.get(rule.rule_id) ?? rule.species);
  return [...new Set(names)].join(", ");
}

function entry(ranked, choice) {
  const { session } = ranked;
  const button = element("button");
  button.type = "button";
  button.append(
    element("span", ranked.rank, "rank"),
    element("span", `${day(session.arrive)}, ${clock(session.arrive)} to ${clock(session.leave)}`, "day"),
    element("span", fishOf(session), "fish"),
  );
  const grade = element("span", undefined, "grade");
  grade.append(sign(session.verdicts.safe.grade));
  button.append(grade);
  button.addEventListener("click", (event) => {
    for (const one of at("sessions").querySelectorAll("button")) one.removeAttribute("aria-current");
    button.setAttribute("aria-current", "true");
    show(ranked, choice).catch(fail);
    // Beside the list it is in sight already; below it, it is not.
    if (event.isTrusted) at("which").scrollIntoView({ block: "nearest" });
  });
  const item = element("li");
  item.append(button);
  return item;
}

async function show(ranked, choice) {
  const turn = ++asked;
  const { session } = ranked;
  const leg = session.legs[0];
  at("which").textContent = `${choice.text}, ${day(session.arrive)}`;
  at("when").textContent =
    `Arrive ${clock(session.arrive)}, fish ${clock(leg.start)} to ${clock(leg.end)}, leave ${clock(session.leave)}; ` +
    `for ${fishOf(session)}. Best from ${clock(session.best_hour.start)} to ${clock(session.best_hour.end)}.`;
  verdicts(session);
  const told = new Map(session.hazards.map((one) => [one.text, one]));
  at("hazards").replaceChildren(...[...told.values()].map((one) => {
    const item = element("li");
    item.append(sign(one.grade), element("span", one.text));
    return item;
  }));
  // What is said of hazards stands above already, and the caution below.
  const said = new Set([...told.keys(), ...session.verdicts.safe.reasons, ...session.verdicts.fishable.reasons]);
  at("reasons").replaceChildren(...session.reasons.filter((text) => !said.has(text)).map((text) => element("li", text)));
  at("times").replaceChildren(...leg.key_times.map((one) => {
    const row = element("tr");
    const height = one.height_m === undefined || one.height_m === null ? "" : `${one.height_m.toFixed(1)} m`;
    row.append(element("td", clock(one.time)), element("td", one.kind.replaceAll("_", " ")), element("td", height));
    return row;
  }));
  at("one").hidden = false;
  const from = new Date(Date.parse(session.arrive) - 4 * 3600000).toISOString();
  const to = new Date(Date.parse(session.leave) + 4 * 3600000).toISOString();
  const query = new URLSearchParams({ start: from, end: to, step: "10min", tz: choice.dataset.zone });
  for (const factor of ["height", "light"]) query.append("factor", factor);
  const extremes = new URLSearchParams({ start: from, end: to, tz: choice.dataset.zone });
  const path = `/v1/marks/${encodeURIComponent(choice.value)}`;
  const [line, turns] = await Promise.all([call(`${path}/timeline?${query}`), call(`${path}/extremes?${extremes}`)]);
  if (turn !== asked) return;
  at("curve").replaceChildren(drawCurve(line, turns, session, leg, at("curve").clientWidth));
  at("legend").textContent =
    `Height of the tide above ${line.datum}, by the clocks of the mark (${session.time_zone}). Darker ground: twilight ` +
    "and night. The band is the fishing, the line under it the best hour.";
}

function verdicts(session) {
  const { safe, fishable, feeding } = session.verdicts;
  const score = feeding.rule_id ? `mean score ${feeding.mean_score.toFixed(2)}` : "no rule holds";
  const limit = feeding.limiting_factor ? `, held down most by the ${words.get(feeding.limiting_factor)}` : "";
  const parts = [
    ["Safe?", `${WORDS[safe.grade]}; see the hazards`],
    ["Fishable?", [fishable.grade.replaceAll("_", " "), ...fishable.reasons].join("; ")],
    ["Feeding?", `${species.get(feeding.rule_id) ?? "nothing"}: ${score}${limit}`],
  ];
  at("verdicts").replaceChildren(...parts.map(([term, text]) => {
    const made = element("div");
    made.append(element("dt", term), element("dd", text));
    return made;
  }));
}

function fail(error) {
  say(error.message, true);
}

at("ask").addEventListener("submit", (event) => {
  event.preventDefault();
  sessionStorage.setItem("ebbmark-key", key.value);
  start().catch(fail);
});

async function start() {
  if (!at("mark").options.length) species = await fill();
  await find();
}

start().catch(fail);
