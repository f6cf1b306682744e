"use strict";

// Takes the results of a test sheet. Every change is kept on this device at once, under the sheet's own digest; nothing
// ever leaves the page but by the hand of whoever holds it.
(() => {
  const sheet = JSON.parse(document.getElementById("sheet").textContent);
  const KEY = `interlock results ${sheet.sheet_digest}`;
  const BEFORE_IMPORT = `${KEY} before import`;
  const byId = (id) => document.getElementById(id);
  const plain = (value) => typeof value === "object" && value !== null && !Array.isArray(value);
  const text = (value) => (typeof value === "string" ? value : "");

  // --- what is entered

  function blank() {
    const steps = sheet.steps.map((step) => ({
      step: step.step,
      seen: Object.fromEntries(Object.keys(step.expect).map((name) => [name, null])),
      measured: {},
      passed: null,
      initials: "",
      note: "",
    }));
    const results = { format: sheet.format, scheme: sheet.scheme, scheme_digest: sheet.scheme_digest };
    return { results: { ...results, sheet_digest: sheet.sheet_digest, by: "", when: "", steps }, judged: {}, started: {}, at: 0 };
  }

  // Whatever was stored or is given, brought into the one shape; what does not fit the sheet is left out.
  function tidied(given) {
    const state = blank();
    const results = plain(given) && plain(given.results) ? given.results : {};
    if (plain(given) && Number.isFinite(given.at)) state.at = given.at;
    state.results.by = text(results.by);
    state.results.when = text(results.when);
    for (const one of Array.isArray(results.steps) ? results.steps : []) {
      const step = plain(one) && state.results.steps.find((known) => known.step === one.step);
      if (!step) continue;
      const expected = sheet.steps[step.step - 1];
      for (const name of Object.keys(step.seen)) {
        const word = plain(one.seen) ? one.seen[name] : null;
        if (expected.words[name].includes(word)) step.seen[name] = word;
        const measured = plain(one.measured) ? text(one.measured[name]) : "";
        if (measured) step.measured[name] = measured;
      }
      if (one.passed === true || one.passed === false) step.passed = one.passed;
      step.initials = text(one.initials);
      step.note = text(one.note);
      state.judged[step.step] = plain(given.judged)
        ? given.judged[step.step] === true
        : step.passed !== null && step.passed !== verdict(step);
      const started = plain(given.started) ? given.started[step.step] : 0;
      if (Number.isFinite(started) && started > 0) state.started[step.step] = started;
    }
    return state;
  }

  // What the things seen say of a step: false once one differs, true once all are as expected, else null.
  function verdict(step) {
    const wanted = Object.entries(sheet.steps[step.step - 1].expect).filter(([, word]) => word !== "either");
    if (wanted.some(([name, word]) => step.seen[name] !== null && step.seen[name] !== word)) return false;
    return wanted.every(([name, word]) => step.seen[name] === word) ? true : null;
  }

  // --- keeping it: in the browser's storage at once, and in its database, which it writes out without delay. A battery
  // that dies takes up to some seconds of the first with it; the later of the two is what counts at the next start.

  let lost = "";
  const database = new Promise((resolve) => {
    try {
      const asked = indexedDB.open("interlock results", 1);
      asked.onupgradeneeded = () => asked.result.createObjectStore("sheets");
      asked.onsuccess = () => resolve(asked.result);
      asked.onerror = () => resolve(null);
      asked.onblocked = () => resolve(null);
    } catch {
      resolve(null);
    }
  });

  async function inDatabase(mode, ask) {
    const known = await database;
    if (!known) return null;
    return new Promise((resolve) => {
      try {
        const transaction = known.transaction("sheets", mode, { durability: "strict" });
        const asked = ask(transaction.objectStore("sheets"));
        transaction.oncomplete = () => resolve(asked.result ?? null);
        transaction.onerror = () => resolve(null);
        transaction.onabort = () => resolve(null);
      } catch {
        resolve(null);
      }
    });
  }
  let state = blank();

  function stored(key) {
    try {
      return localStorage.getItem(key);
    } catch (error) {
      lose(error);
      return null;
    }
  }

  function keep(key, value) {
    try {
      localStorage.setItem(key, value);
      if (localStorage.getItem(key) !== value) throw new Error("it was not kept");
      return true;
    } catch (error) {
      lose(error);
      return false;
    }
  }

  function lose(error) {
    lost = String((error && error.message) || error);
    byId("lost").hidden = false;
  }

  function load(raw) {
    try {
      state = tidied(JSON.parse(raw));
    } catch {
      state = blank();
      // What could not be read is put aside, never written over.
      keep(`${KEY} unreadable`, raw);
    }
  }

  function save(root) {
    state.at = Math.max(Date.now(), state.at + 1);
    const raw = JSON.stringify(state);
    byId("kept").textContent = "";
    if (keep(KEY, raw)) {
      lost = "";
      byId("lost").hidden = true;
      inDatabase("readwrite", (store) => store.put(raw, KEY)).then(() => {
        if (!lost) byId("kept").textContent = `Kept on this device at ${new Date().toLocaleTimeString()}.`;
      });
    } else {
      byId("kept").textContent = "NOT kept on this device.";
    }
    show(root);
  }

  // --- showing it

  function show(root = document) {
    for (const control of root.querySelectorAll("[data-field]")) {
      const { field, name, step } = control.dataset;
      const row = step ? state.results.steps[step - 1] : state.results;
      if (field === "seen") control.checked = row.seen[name] === control.value;
      else if (field === "passed") control.checked = String(row.passed) === control.value;
      else if (control !== document.activeElement || control.value === "") {
        control.value = field === "measured" ? row.measured[name] || "" : row[field];
      }
    }
    for (const mark of root.querySelectorAll("[data-differs]")) {
      const { differs, name } = mark.dataset;
      const seen = state.results.steps[differs - 1].seen[name];
      const expected = sheet.steps[differs - 1].expect[name];
      const bad = seen !== null && expected !== "either" && seen !== expected;
      const words = bad ? "differs from what is expected" : "";
      if (mark.textContent !== words) mark.textContent = words;
      mark.closest(".row").classList.toggle("differs", bad);
    }
    const done = state.results.steps.filter((step) => step.passed !== null);
    const failed = done.filter((step) => step.passed === false);
    byId("progress").textContent =
      `${done.length} of ${sheet.steps.length} steps judged` + (failed.length ? `, ${failed.length} FAILED` : "");
    byId("results-text").value = file();
    byId("undo").hidden = stored(BEFORE_IMPORT) === null;
    tick();
  }

  const file = () => `${JSON.stringify(state.results, null, 1)}\n`;

  // --- taking it

  function today() {
    const now = new Date();
    const two = (number) => String(number).padStart(2, "0");
    return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
  }

  document.addEventListener("input", (event) => {
    const control = event.target;
    const { field, name, step: number } = control.dataset;
    if (!field) return;
    const row = number ? state.results.steps[number - 1] : state.results;
    if (field === "seen") row.seen[name] = control.value || null;
    else if (field === "passed") {
      row.passed = { true: true, false: false }[control.value] ?? null;
      state.judged[number] = row.passed !== null;
    } else if (field === "measured") {
      if (control.value) row.measured[name] = control.value;
      else delete row.measured[name];
    } else row[field] = control.value;
    if (number && !state.judged[number]) row.passed = verdict(row);
    if (number && !state.results.when) {
      state.results.when = today();
      show();
    }
    save(number ? byId(`step-${number}`) : document);
  });

  // The empty choice takes an answer back.
  document.addEventListener("click", (event) => {
    const { clears, name } = event.target.dataset;
    if (!clears) return;
    const row = state.results.steps[clears - 1];
    row.seen[name] = null;
    if (!state.judged[clears]) row.passed = verdict(row);
    save(byId(`step-${clears}`));
  });

  // --- the stopwatch: only when it was started is kept, so that a reload does not stop it

  const clock = (seconds) => `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
  let ticking = 0;
  const called = new Set();

  function tick() {
    let running = false;
    for (const shown of document.querySelectorAll("[data-timer]")) {
      const step = sheet.steps[shown.dataset.timer - 1];
      const started = state.started[step.counts_from];
      let words = "";
      if (started) {
        const left = Math.ceil((started + step.look_s * 1000 - Date.now()) / 1000);
        words = left > 0 ? `look in ${clock(left)}` : "look now";
        running = running || left > 0;
        if (left > 0) called.delete(step.step);
        else if (!called.has(step.step)) {
          called.add(step.step);
          if (left > -2 && navigator.vibrate) navigator.vibrate(400);
        }
      }
      if (shown.textContent !== words) shown.textContent = words;
      shown.classList.toggle("due", words === "look now");
    }
    clearTimeout(ticking);
    if (running) ticking = setTimeout(tick, 250);
  }

  for (const button of document.querySelectorAll("[data-start]")) {
    button.addEventListener("click", () => {
      state.started[button.dataset.start] = Date.now();
      save();
    });
  }

  // --- giving it back, and going on with what was given

  byId("download").addEventListener("click", () => {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([file()], { type: "application/json" }));
    link.download = `results-${sheet.sheet_digest.slice(0, 8)}-${state.results.when || today()}.json`;
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
    byId("given").textContent = `Given as ${link.download}. If no file has come, copy the text below.`;
  });

  byId("copy").addEventListener("click", async () => {
    const area = byId("results-text");
    area.focus();
    area.select();
    let copied = false;
    try {
      await navigator.clipboard.writeText(area.value);
      copied = true;
    } catch {
      copied = document.execCommand("copy");
    }
    byId("given").textContent = copied ? "Copied." : "Copy the marked text by hand.";
  });

  function take(raw) {
    let given = null;
    try {
      given = JSON.parse(raw);
    } catch {
      return "That is no results file: it is no JSON.";
    }
    if (!plain(given) || given.format !== sheet.format) return `That is no results file: expected "${sheet.format}".`;
    if (given.sheet_digest !== sheet.sheet_digest) return "That file belongs to another sheet. Nothing was taken over.";
    if (!keep(BEFORE_IMPORT, JSON.stringify(state))) return "Nothing was taken over: what is entered here would be lost.";
    state = tidied({ results: given, started: state.started, at: state.at });
    save();
    return "Taken over.";
  }

  byId("results-file").addEventListener("change", async (event) => {
    const chosen = event.target.files[0];
    if (!chosen) return;
    byId("taken").textContent = take(await chosen.text());
    event.target.value = "";
  });

  byId("take-text").addEventListener("click", () => {
    byId("taken").textContent = take(byId("given-text").value);
  });

  byId("undo").addEventListener("click", () => {
    const before = stored(BEFORE_IMPORT);
    if (before === null) return;
    const at = state.at;
    load(before);
    state.at = at;
    try {
      localStorage.removeItem(BEFORE_IMPORT);
    } catch (error) {
      lose(error);
    }
    byId("taken").textContent = "As it was before.";
    save();
  });

  byId("next").addEventListener("click", () => {
    const open = state.results.steps.find((step) => step.passed === null);
    const target = open ? byId(`step-${open.step}`) : byId("results");
    target.scrollIntoView();
    target.focus({ preventScroll: true });
  });

  // The same sheet open twice on one device: the other one's entries are shown here, not written over.
  addEventListener("storage", (event) => {
    if (event.key !== KEY || event.newValue === null) return;
    load(event.newValue);
    show();
  });

  addEventListener("beforeunload", (event) => {
    if (lost) event.preventDefault();
  });

  async function begin() {
    const raw = stored(KEY);
    if (raw !== null) load(raw);
    else if (keep(`${KEY} probe`, "1")) localStorage.removeItem(`${KEY} probe`);
    document.body.inert = true; // nothing is entered before it is known what was
    const late = new Promise((resolve) => setTimeout(resolve, 3000, null));
    const other = await Promise.race([inDatabase("readonly", (store) => store.get(KEY)), late]);
    const before = state;
    if (typeof other === "string") {
      load(other);
      if (state.at <= before.at) state = before;
    }
    document.body.inert = false;
    document.documentElement.classList.add("live");
    show();
  }

  begin();
})();
