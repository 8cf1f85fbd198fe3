// The authors' preview loads itself again when a file of the bank was saved; a hidden page does not ask.
const WAIT_MS = 1500;
const shown = document.querySelector("[data-version]").dataset.version;

setInterval(async () => {
  if (document.hidden) return;
  try {
    const reply = await fetch("/preview/version.json", { headers: { Accept: "application/json" } });
    if (reply.ok && (await reply.json()).version !== shown) location.reload();
  } catch {
    // The service is away for the moment; the page stays as it is.
  }
}, WAIT_MS);
