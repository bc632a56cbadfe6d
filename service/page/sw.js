// Lets the page open without a connection. Only its own files; nothing of the log is kept here.
const NAME = "page-20";
const FILES = ["/", "/states.css", "/app.css", "/states.js", "/stateword.js", "/time.js", "/start.js", "/app.js", "/words.js", "/words/de.json", "/words/es.json", "/api.js", "/batches.js", "/queue.js", "/kept_queue.js", "/waiting.js", "/typed.js", "/photo_time.js", "/show.js", "/how.js", "/signals.js", "/strip.js", "/liquids.js", "/tint.js", "/plot.js", "/manage.js", "/bench.js", "/notes.js", "/timeline.js", "/plan.js", "/ask.js", "/fields.js", "/dom.js", "/uplot.js", "/uplot.css", "/plan_more.js", "/vessels.js", "/find.js", "/compare.js", "/phones.js", "/place.js", "/share.js", "/apart.js", "/first.js", "/first_rules.js", "/first_card.js", "/first_strip.js", "/first_pads.js", "/first_liquids.js", "/first_learn.js", "/first_curve.js", "/first_chart.js", "/first_parts.js", "/profiles.js", "/benches.js", "/help.js", "/first.css", "/sheet.js", "/finding.css", "/icon.svg", "/manifest.json", "/procedure.js", "/plan_dose.js", "/reminders.js", "/live.js", "/live_camera.js", "/live_find.js", "/live_frame.js", "/live_judge.js", "/live_map.js", "/live_numbers.js", "/live_release.js", "/live_words.js", "/live.css", "/live_squares.js", "/label.js"];

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(NAME).then((cache) => cache.addAll(FILES)).then(() => self.skipWaiting()));
});
self.addEventListener("activate", (event) => {
  event.waitUntil(
    caches
      .keys()
      .then((names) => Promise.all(names.filter((n) => n !== NAME).map((n) => caches.delete(n))))
      .then(() => self.clients.claim()),
  );
});
self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== location.origin || !FILES.includes(url.pathname)) return;
  // The network first, so that files of different versions never mix while there is one.
  event.respondWith(
    fetch(event.request)
      .then((response) => {
        if (response.ok) {
          const copy = response.clone();
          event.waitUntil(caches.open(NAME).then((cache) => cache.put(url.pathname, copy)));
        }
        return response;
      })
      .catch(() => caches.match(url.pathname)),
  );
});
