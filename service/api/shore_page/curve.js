// The tide about a session, drawn to fit: heights, light, the fishing and its best hour.
const WIDEST = 720, NARROWEST = 300, HEIGHT = 310, LEFT = 12, TOP = 44, BOTTOM = 272;
const GROUNDS = { civil_twilight: "dusk", nautical_twilight: "dim", astronomical_twilight: "dim", night: "night" };

function make(name, given, text) {
  const made = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [attribute, value] of Object.entries(given)) made.setAttribute(attribute, value);
  if (text !== undefined) made.textContent = text;
  return made;
}

// Drawn as narrow as its place, in pixels, so that words stay as large on a phone.
export function drawCurve(line, turns, session, leg, roomPx) {
  const width = Math.min(Math.max(roomPx, NARROWEST), WIDEST), right = width - LEFT;
  const first = Date.parse(line.start), step = line.step_s * 1000;
  const heights = line.columns.height, light = line.columns.light;
  const last = first + (heights.length - 1) * step;
  const low = Math.min(...heights), high = Math.max(...heights), room = 0.18 * (high - low) + 0.05;
  const across = (time) => LEFT + Math.min(Math.max((time - first) / (last - first), 0), 1) * (right - LEFT);
  const up = (height) => BOTTOM - ((height - low + room) / (high - low + 2 * room)) * (BOTTOM - TOP);
  const svg = make("svg", { viewBox: `0 0 ${width} ${HEIGHT}`, role: "img", "aria-label": described(turns, leg) });
  for (let from = 0, k = 1; k <= light.length; k++) {
    if (k < light.length && light[k] === light[from]) continue;
    const ground = GROUNDS[light[from]], left = across(first + from * step);
    const wide = across(first + k * step) - left;
    if (ground) svg.append(make("rect", { class: ground, x: left, y: TOP, width: wide, height: BOTTOM - TOP }));
    from = k;
  }
  const points = heights.map((height, k) => `${across(first + k * step).toFixed(1)},${up(height).toFixed(1)}`);
  svg.append(make("polygon", { class: "sea", points: [...points, `${right},${BOTTOM}`, `${LEFT},${BOTTOM}`].join(" ") }));
  hours(line, svg, across, first, last);
  const [start, end] = [across(Date.parse(leg.start)), across(Date.parse(leg.end))];
  svg.append(make("rect", { class: "fishing", x: start, y: 8, width: end - start, height: 24, rx: 3 }));
  svg.append(make("text", { x: start + 6, y: 25 }, "fishing"));
  const best = [session.best_hour.start, session.best_hour.end].map((one) => across(Date.parse(one)));
  for (const x of [start, end]) svg.append(make("line", { class: "edge", x1: x, x2: x, y1: 32, y2: BOTTOM }));
  svg.append(make("rect", { class: "best", x: best[0], y: 32, width: best[1] - best[0], height: 6 }));
  svg.append(make("polyline", { class: "water", points: points.join(" ") }));
  turns.times.forEach((time, k) => {
    const x = across(Date.parse(time)), y = up(turns.heights_m[k]), tall = turns.kinds[k] === "high";
    if (Date.parse(time) < first || Date.parse(time) > last) return;
    svg.append(make("circle", { class: "turn", cx: x, cy: y, r: 4 }));
    const side = Math.min(Math.max(x, LEFT + 56), right - 56);
    const said = `${tall ? "HW" : "LW"} ${time.slice(11, 16)}  ${turns.heights_m[k].toFixed(1)} m`;
    svg.append(make("text", { x: side, y: tall ? y - 9 : y + 19, "text-anchor": "middle" }, said));
  });
  return svg;
}

// Full hours by the offset that the answer carries; every third, and the others as a line.
function hours(line, svg, across, first, last) {
  const offset = /([+-])(\d\d):(\d\d)$/.exec(line.start);
  const shift = offset ? Number(`${offset[1]}1`) * (Number(offset[2]) * 60 + Number(offset[3])) * 60000 : 0;
  for (let time = Math.ceil((first + shift) / 3600000) * 3600000 - shift; time <= last; time += 3600000) {
    const hour = new Date(time + shift).getUTCHours();
    svg.append(make("line", { class: "grid", x1: across(time), x2: across(time), y1: BOTTOM, y2: BOTTOM + (hour % 3 ? 4 : 9) }));
    if (hour % 3 === 0) {
      const said = String(hour).padStart(2, "0");
      svg.append(make("text", { x: across(time), y: BOTTOM + 26, "text-anchor": "middle" }, said));
    }
  }
}

function described(turns, leg) {
  const waters = turns.times.map((time, k) =>
    `${turns.kinds[k] === "high" ? "high" : "low"} water ${time.slice(11, 16)}, ${turns.heights_m[k].toFixed(1)} metres`);
  return `Tide about the session: ${waters.join("; ")}. Fishing from ${leg.start.slice(11, 16)} to ${leg.end.slice(11, 16)}.`;
}
