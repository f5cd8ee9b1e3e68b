"use strict";
/* Elements and times. Texts of the data go in as text, never as markup. */
function at(id) { return document.getElementById(id); }

function build(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === false || value === null || value === undefined) continue;
    element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children.filter((child) => child !== null && child !== undefined && child !== ""));
  return element;
}

function pressed(words, press, attributes = {}) {
  const button = build("button", { type: "button", ...attributes }, words);
  button.addEventListener("click", press);
  return button;
}

function show(element, words) {
  if (element.textContent !== words) element.textContent = words;
  element.hidden = words === "";
}

function two(number) { return String(number).padStart(2, "0"); }

/* A moment as the log holds it: local time with milliseconds and the offset from UTC. */
function stamp(date) {
  const offset = -date.getTimezoneOffset(), size = Math.abs(offset);
  const day = `${String(date.getFullYear()).padStart(4, "0")}-${two(date.getMonth() + 1)}-${two(date.getDate())}`;
  const time = `${two(date.getHours())}:${two(date.getMinutes())}:${two(date.getSeconds())}.${String(date.getMilliseconds()).padStart(3, "0")}`;
  return `${day}T${time}${offset < 0 ? "-" : "+"}${two(Math.floor(size / 60))}:${two(size % 60)}`;
}

/* Time of day of a moment of the log, as its device showed it. */
function clockOf(moment) { return moment.slice(11, 16); }

function spanWords(minutes) {
  const whole = Math.round(Math.abs(minutes));
  return (whole < 60 ? `${whole} min` : `${Math.floor(whole / 60)} h ${two(whole % 60)} min`).replaceAll(" ", "\u00a0");
}

function count(number, word) { return `${number} ${word}${number === 1 ? "" : "s"}`; }

/* A number as people type it on a phone: with a point or a comma; null where it is none. */
function typedNumber(text) {
  const plain = text.trim().replace(",", ".").replace("−", "-");
  return /^[+-]?(\d+\.?\d*|\.\d+)$/.test(plain) ? Number(plain) : null;
}

/* Data with its references, "~" and a place among the words, as the words themselves. */
function withWords(data, words) {
  if (typeof data === "string") return data.startsWith("~") ? words[Number(data.slice(1))] : data;
  if (Array.isArray(data)) return data.map((value) => withWords(value, words));
  if (data === null || typeof data !== "object") return data;
  return Object.fromEntries(Object.entries(data).map(([key, value]) => [key, withWords(value, words)]));
}

/* Rows of pressures from their differences in 0.001 mbar. */
function fromDifferences(row) {
  let last = 0;
  return row.map((step) => (step === null ? null : (last += step) / 1000));
}

const DAY_PARTS = ["before", "day", "after"];

/* The data as the scripts use it: words, tables and readings, which are kept once in the file, in their places. */
function unpacked(data) {
  const tables = data.tables.map((table) => ({ ...table, v: table.v.map(fromDifferences) }));
  const readings = data.readings.map(([gauge, place, band, warning, abort, abort_high, table]) => ({ gauge, place, band, warning, abort, abort_high, table: tables[table] }));
  const options = withWords(data.options, data.words);
  for (const option of options) {
    for (const step of option.steps) {
      step.readings = step.readings.map((place) => readings[place]);
      if (step.bar) {
        const [part, start, end, critical] = step.bar, minute = (data.start_min + Math.round(start)) % 1440;
        step.bar = { day: DAY_PARTS[part], start, end, critical: Boolean(critical), clock: part === 1 ? `${two(Math.floor(minute / 60))}:${two(minute % 60)}` : "" };
      }
    }
  }
  return { ...data, options };
}
