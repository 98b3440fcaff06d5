// What has been placed so far, with every step kept so that it can be undone. Coordinates are px of the stored picture,
// from its left and its top edge.

const given = JSON.parse(document.getElementById("given").textContent);
const byName = new Map(given.groups.flatMap((group) => group.points.map((point) => [point.name, point])));
const names = [...byName.keys()];

const record = {
  now: { points: given.points, unseen: given.unseen },
  past: [],
  future: [],
  saved: null,
  lastStep: { name: null, at: 0 },
};
record.saved = record.now;

function stateOf(name) {
  const point = record.now.points[name];
  if (point) return point.source;
  return record.now.unseen.includes(name) ? "unseen" : "todo";
}

function change(next) {
  record.past.push(record.now);
  record.future = [];
  record.now = next;
  record.lastStep = { name: null, at: 0 };
}

function within(value, side) {
  return Math.min(side, Math.max(0, Math.round(value * 100) / 100));
}

function fits(value, side) {
  return typeof value === "number" && Number.isFinite(value) && value >= 0 && value <= side;
}

// Puts a point by hand. Small steps of one point that follow quickly on each other are undone together.
function place(name, x, y, isSmallStep) {
  const point = { ...record.now.points[name], x: within(x, given.picture.width), y: within(y, given.picture.height), source: "hand" };
  const before = record.now.points[name];
  if (before && before.source === "found") delete point.sigma;
  const next = { points: { ...record.now.points, [name]: point }, unseen: record.now.unseen.filter((n) => n !== name) };
  const at = performance.now();
  if (isSmallStep && record.lastStep.name === name && at - record.lastStep.at < 1000) {
    record.now = next;
    record.future = [];
  } else {
    change(next);
  }
  record.lastStep = isSmallStep ? { name, at } : { name: null, at: 0 };
}

function setSigma(name, sigma) {
  const point = { ...record.now.points[name], source: "hand" };
  delete point.sigma;
  if (sigma !== null) point.sigma = sigma;
  change({ ...record.now, points: { ...record.now.points, [name]: point } });
}

function takeAway(name, isUnseen) {
  const points = { ...record.now.points };
  delete points[name];
  const unseen = record.now.unseen.filter((n) => n !== name);
  if (isUnseen) unseen.push(name);
  change({ points, unseen });
}

function back() {
  if (!record.past.length) return false;
  record.future.push(record.now);
  record.now = record.past.pop();
  record.lastStep = { name: null, at: 0 };
  return true;
}

function again() {
  if (!record.future.length) return false;
  record.past.push(record.now);
  record.now = record.future.pop();
  return true;
}

// Stored px per shown px where the point lies: the finest layer of the picture that holds it.
function grainAt(x, y) {
  let finest = Infinity;
  for (const layer of given.layers) {
    const inside = x >= layer.x && x <= layer.x + layer.width && y >= layer.y && y <= layer.y + layer.height;
    if (inside) finest = Math.min(finest, layer.width / layer.shown);
  }
  return Number.isFinite(finest) ? finest : 1;
}

function usualSigma(name, point) {
  const at = record.now.points;
  const apart = (a, b) => (at[a] && at[b] ? Math.hypot(at[a].x - at[b].x, at[a].y - at[b].y) : null);
  const face = apart(...given.rule.pupils) ?? (apart(...given.rule.face) ?? 0) * given.rule.faceInPupils;
  return Math.round(Math.max(given.rule.least, grainAt(point.x, point.y), byName.get(name).share * face) * 100) / 100;
}

function asFile() {
  const points = {};
  for (const name of names) {
    const point = record.now.points[name];
    if (!point) continue;
    points[name] = { x: point.x, y: point.y, sigma: point.sigma ?? usualSigma(name, point), source: point.source };
  }
  const file = { schema: given.schema, picture: given.stamp, points };
  const unseen = names.filter((name) => record.now.unseen.includes(name));
  if (unseen.length) file.unseen = unseen;
  return JSON.stringify(file, null, 1) + "\n";
}

// Reads a saved file. Throws an Error whose message says what is wrong; nothing changes then.
function readFile(text) {
  let file;
  try {
    file = JSON.parse(text);
  } catch {
    throw new Error("This is not a points file: it is not JSON.");
  }
  if (!file || file.schema !== given.schema) throw new Error(`This is not a points file of the kind ${given.schema}.`);
  const stamp = file.picture ?? {};
  const isSameFile = !stamp.sha256 || !given.stamp.sha256 || stamp.sha256 === given.stamp.sha256;
  const isSame = stamp.width === given.stamp.width && stamp.height === given.stamp.height && isSameFile;
  if (!isSame) throw new Error("These points belong to another picture (or this one was changed since). Nothing was taken over.");
  const points = {};
  const strange = [];
  for (const [name, point] of Object.entries(file.points ?? {})) {
    const good = byName.has(name) && ["hand", "found"].includes(point?.source) && fits(point.x, given.picture.width) && fits(point.y, given.picture.height);
    const goodSigma = point?.sigma === undefined || (Number.isFinite(point.sigma) && point.sigma > 0);
    if (!good || !goodSigma) strange.push(name);
    else points[name] = { x: point.x, y: point.y, source: point.source, ...(point.sigma === undefined ? {} : { sigma: point.sigma }) };
  }
  const unseen = Array.isArray(file.unseen ?? []) ? (file.unseen ?? []) : [file.unseen];
  strange.push(...unseen.filter((name) => !byName.has(name) || points[name]).map(String));
  if (strange.length) throw new Error(`Not understood: ${strange.slice(0, 5).join(", ")}. Nothing was taken over.`);
  change({ points, unseen });
}
