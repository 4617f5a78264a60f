// The first page: the secret behind the # goes back to Patcher by a request of its own, never into a log or a referrer.
"use strict";

const said = document.getElementById("said");
const form = document.getElementById("form");
const code = document.getElementById("code");

async function enter(secret) {
  let answer;
  try {
    answer = await fetch("enter", { method: "POST", body: secret });
  } catch {
    ask("Patcher cannot be reached. Is this phone on its network?");
    return;
  }
  if (answer.ok) location.replace("show");
  else ask(await answer.text());
}

function ask(why) {
  said.textContent = why;
  form.hidden = false;
  code.focus();
}

form.addEventListener("submit", (event) => {
  event.preventDefault();
  if (code.value.trim()) enter(code.value);
});

function begin() {
  const secret = location.hash.slice(1);
  if (!secret) {
    ask("Scan the code in the terminal, or type it here.");
    return;
  }
  history.replaceState(null, "", "/");
  enter(secret);
}

window.addEventListener("hashchange", begin);
begin();
