// The film: the code is lit, this phone's own camera is opened, and its clip goes to Patcher, which reads it.
"use strict";

let uploading = null;      // what ends the upload from this page
let readable = false;      // whether clips can be read here
const AT_WORK = { upload: "Uploading the clip", read: "Reading the clip" };

async function howToFilm() {
  let told;
  try { told = await (await fetch("filming")).json(); } catch { return; }
  $("film-missing").hidden = !told.missing;
  $("film-missing").textContent = told.missing;
  readable = !told.missing;
  if (now) showFilm(now);
  $("film-warns").textContent = told.warns;
  lines($("film-advice"), told.advice);
}

function showFilm(told) {
  const { stage, part, says, picture, good } = told.film;
  const works = stage in AT_WORK;
  const filming = told.mode === "film" && !told.dark;
  $("film-stage").textContent = works ? `${AT_WORK[stage]}: ${Math.floor(100 * part)} %`
    : filming ? "The code plays." : { said: good ? "Nothing is wrong." : "Read: see below.", failed: "No clip was read." }[stage] || "";
  $("film-ready").hidden = works || !readable;
  $("film-part").hidden = !works;
  $("film-part").value = part;
  lines($("film-says"), works ? [] : says);
  $("film-large").hidden = works || !picture;
  if (picture && $("film-picture").dataset.number !== String(picture)) {
    $("film-picture").dataset.number = String(picture);
    $("film-picture").src = `film.png?${picture}`;
    $("film-large").href = `film.png?${picture}`;
  }
  $("film-cancel").hidden = !uploading;
  $("film-key").disabled = $("film-play").disabled = Boolean(told.failed);
  $("film-play").textContent = filming ? "Stop: all dark" : "Only light the code";
  $("film-play").setAttribute("aria-pressed", String(filming));
}

// Why a clip of this page was not taken.
function refuse(why) {
  $("film-refused").hidden = !why;
  $("film-refused").textContent = why;
}

async function upload(clip) {
  if (uploading) return;
  uploading = new AbortController();
  refuse("");
  window.scrollTo(0, 0);
  try {
    const fits = await (await fetch(`film?size=${clip.size}`)).json();
    if (fits.refused) { refuse(fits.refused); return; }
    const answer = await fetch("film", { method: "POST", body: clip, signal: uploading.signal });
    if (!answer.ok) refuse(await answer.text());
  } catch {
    refuse(uploading.signal.aborted ? "Stopped: the clip was not kept." : "The upload broke off. Choose the clip again.");
  } finally {
    uploading = null;
    if (now) showFilm(now);
  }
}

function beginFilm() {
  for (const name of ["camera", "gallery"]) {
    $(name).addEventListener("change", () => {
      const [clip] = $(name).files;
      if (now && now.mode === "film" && !now.dark && socket) send("dark");
      if (clip) upload(clip).finally(() => { $(name).value = ""; });
    });
  }
  $("camera").addEventListener("cancel", () => { if (socket) send("dark"); });
  $("film-key").addEventListener("click", () => { refuse(""); if (send("film")) $("camera").click(); });
  $("film-play").addEventListener("click", () => send(now && now.mode === "film" && !now.dark ? "dark" : "film"));
  $("film-choose").addEventListener("click", () => $("gallery").click());
  $("film-cancel").addEventListener("click", () => { if (uploading) uploading.abort(); });
}
