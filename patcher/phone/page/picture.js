// Pixels where they hang: dark ones as small grey dots, those that should be lit in their colour.
"use strict";

const COLOURS = {
  red: "#ff4a3d", green: "#35d45a", blue: "#5f86ff", white: "#ffffff", yellow: "#ffe14a", magenta: "#ff5ce1",
  cyan: "#4de3f0", other: "#f0b65a", mark: "#ffe14a",
};
const BARE = 40;      // centimetres that a run with no picture is high
let places = null;    // by run: pixels, every, at
let drawn = null;     // the picture that was drawn last: where a pixel is put, of which runs

async function loadPlaces() {
  places = await (await fetch("pixels.json")).json();
}

// Of a show with many pixels the places are told with pixels left out; of the runs that are looked at, all of them are
// asked for, once.
const closely = new Set();
async function loadClosely(runs, then) {
  if (!places || !runs.some((run) => places[run] && places[run].every > 1)) return;
  const wanted = new URLSearchParams(runs.map((run) => ["run", run])).toString();
  if (closely.has(wanted)) return;
  closely.add(wanted);
  try {
    Object.assign(places, await (await fetch(`pixels.json?${wanted}`)).json());
  } catch {
    closely.delete(wanted);
    return;
  }
  then();
}

// The places of some runs in one frame; runs with no picture lie as lines below the others.
function layOut(runs) {
  const drawn = runs.filter((run) => places[run] && places[run].at);
  const bare = runs.filter((run) => places[run] && !places[run].at);
  let [left, top, right, bottom] = [Infinity, Infinity, -Infinity, -Infinity];
  for (const run of drawn) {
    const at = places[run].at;
    for (let i = 0; i < at.length; i += 2) {
      left = Math.min(left, at[i]); right = Math.max(right, at[i]);
      top = Math.min(top, at[i + 1]); bottom = Math.max(bottom, at[i + 1]);
    }
  }
  if (!drawn.length) [left, top, right, bottom] = [0, 0, 1000, 0];
  const lines = new Map();
  for (const run of bare) {
    bottom += BARE;
    lines.set(run, bottom);
  }
  return { left, top, right, bottom, lines };
}

function pixelAt(run, pixel, frame) {
  const { pixels, every, at } = places[run];
  if (at) {
    const i = Math.min(Math.floor(pixel / every), at.length / 2 - 1) * 2;
    return [at[i], at[i + 1]];
  }
  const part = pixels > 1 ? pixel / (pixels - 1) : 0.5;
  return [frame.left + part * (frame.right - frame.left), frame.lines.get(run)];
}

// How large a lit pixel is drawn: a lone one large, so that it is found at once; several not over each other.
function sizeOf(lit, put) {
  const many = lit.reduce((sum, [, , , rows]) => sum + rows.reduce((all, row) => all + row[1], 0), 0);
  if (many > 40) return 2.5;
  const at = lit.flatMap(([run, , , rows]) => rows.flatMap(([first, count, step]) =>
    Array.from({ length: count }, (_, i) => put(run, first + i * step))));
  let apart = 14;
  for (let i = 0; i < at.length; i++)
    for (let j = 0; j < i; j++) {
      const far = Math.hypot(at[i][0] - at[j][0], at[i][1] - at[j][1]);
      if (far > 0.5) apart = Math.min(apart, far);
    }
  return Math.max(2.5, apart / 2);
}

// The pixel of a run, from 0, that lies nearest to a place on the picture that was drawn last.
function pixelNear(run, x, y) {
  if (!drawn || !drawn.runs.includes(run)) return null;
  let [best, least] = [null, Infinity];
  for (let pixel = 0; pixel < places[run].pixels; pixel += places[run].every) {
    const [u, v] = drawn.put(run, pixel);
    const far = Math.hypot(u - x, v - y);
    if (far < least) [best, least] = [pixel, far];
  }
  return best;
}

// Where a question begins: a ring round the pixel, and an arrow the way in which it is read.
function drawMark(pen, [x, y], [tipX, tipY]) {
  const turn = Math.atan2(tipY - y, tipX - x);
  const [length, ring] = [26, 8];
  const along = (far, side) => [x + far * Math.cos(turn) - side * Math.sin(turn), y + far * Math.sin(turn) + side * Math.cos(turn)];
  pen.strokeStyle = pen.fillStyle = COLOURS.mark;
  pen.lineWidth = 2.5;
  pen.beginPath();
  pen.arc(x, y, ring, 0, 2 * Math.PI);
  pen.moveTo(...along(ring, 0));
  pen.lineTo(...along(length, 0));
  pen.stroke();
  pen.beginPath();
  pen.moveTo(...along(length + 7, 0));
  pen.lineTo(...along(length - 3, 6));
  pen.lineTo(...along(length - 3, -6));
  pen.fill();
}

// Draw runs on a canvas; `lit` as the server tells it: run, colour, level, rows of pixels; `marks`: run, pixel, towards.
function drawPicture(canvas, runs, lit, marks = []) {
  if (!places || !canvas.clientWidth) return;
  const dense = window.devicePixelRatio || 1;
  const [wide, high] = [canvas.clientWidth, canvas.clientHeight];
  if (canvas.width !== Math.round(wide * dense)) canvas.width = Math.round(wide * dense);
  if (canvas.height !== Math.round(high * dense)) canvas.height = Math.round(high * dense);
  const pen = canvas.getContext("2d");
  pen.setTransform(dense, 0, 0, dense, 0, 0);
  pen.clearRect(0, 0, wide, high);
  const known = runs.filter((run) => places[run]);
  if (!known.length) return;
  const frame = layOut(known);
  const room = 12;
  const scale = Math.min(
    (wide - 2 * room) / Math.max(1, frame.right - frame.left), (high - 2 * room) / Math.max(1, frame.bottom - frame.top),
  );
  const dx = (wide - (frame.right - frame.left) * scale) / 2;
  const dy = (high - (frame.bottom - frame.top) * scale) / 2;
  const put = (run, pixel) => {
    const [x, y] = pixelAt(run, pixel, frame);
    return [dx + (x - frame.left) * scale, dy + (y - frame.top) * scale];
  };
  drawn = { put, runs: known };
  pen.fillStyle = "#515a69";
  for (const run of known) {
    for (let pixel = 0; pixel < places[run].pixels; pixel += places[run].every) {
      const [x, y] = put(run, pixel);
      pen.fillRect(x - 1, y - 1, 2, 2);
    }
  }
  const shown = lit.filter(([run]) => known.includes(run));
  const size = sizeOf(shown, put);
  for (const [run, colour, level, rows] of shown) {
    pen.fillStyle = COLOURS[colour] || COLOURS.other;
    pen.globalAlpha = 0.35 + 0.65 * level;
    for (const [first, count, step] of rows) {
      for (let i = 0; i < count; i++) {
        const [x, y] = put(run, first + i * step);
        pen.beginPath();
        pen.arc(x, y, size, 0, 2 * Math.PI);
        pen.fill();
      }
    }
    pen.globalAlpha = 1;
  }
  for (const [run, pixel, towards] of marks) if (known.includes(run)) drawMark(pen, put(run, pixel), put(run, towards));
}
