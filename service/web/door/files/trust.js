// Whether this phone trusts the bench's certificate, asked of the phone itself; and the link's token, carried on behind
// the `#`, which is never sent.
const root = document.body.dataset.secure;
const token = location.hash.startsWith("#join=") ? location.hash : "";
for (const id of ["secure", "plain"]) document.getElementById(id).href += token;

// Resolves only where the phone accepts the certificate. The answer itself is not looked at.
const trusted = () => fetch(`${root}/trust/seen`, { mode: "no-cors", cache: "no-store" }).then(() => true, () => false);

async function look() {
  if (location.protocol === "https:" || !(await trusted())) return;
  document.getElementById("trusted").hidden = false;
  if (token) location.replace(document.getElementById("secure").href);
}

document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && look()); // back from the settings
look();
