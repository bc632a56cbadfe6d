// By which procedure a batch goes: chosen as it is made, changed while it runs with a reason that the log keeps.
import { call } from "./api.js";
import { ask } from "./ask.js";
import { store } from "./dom.js";
import { send } from "./queue.js";
import { clockAndZone } from "./strip.js";
import { t } from "./words.js";

// The shipped ones; without a connection those seen last.
export async function procedures() {
  try {
    store.set("procedures", await call("/api/procedures"));
  } catch {
    // those seen last
  }
  return store.get("procedures", []);
}

// The batch's own procedure as it is shipped now, where that is later than the batch's.
export const laterVersion = (now) => store.get("procedures", []).find((p) => p.title === now.procedure && p.version > now.procedure_version);

const titled = (p, now) => (p.title === now.procedure ? t("{title}, version {version}", p) : p.title);

export async function anotherProcedure(batch, now, done) {
  const same = (p) => p.title === now.procedure && p.version === now.procedure_version;
  const known = (await procedures()).filter((p) => !same(p)).sort((a, b) => (b.title === now.procedure) - (a.title === now.procedure));
  const fields = [
    { name: "procedure", label: t("Go on by"), options: known.map((p) => [p.name, titled(p, now)]), value: known[0]?.name },
    { name: "reason", label: t("Why? The log keeps it."), required: true, max: 1000 },
    { name: "who", label: t("Who"), value: store.get("who", ""), required: true, max: 100 },
  ];
  ask(t("Another procedure"), fields, async (said) => {
    store.set("who", said.who);
    const chosen = known.find((p) => p.name === said.procedure);
    const change = async (to) => {
      const body = { ...said, to, written_at: clockAndZone(new Date()) };
      await send({ what: "procedure", path: "/api/batches/{batch}/procedure", batch: batch.id, body, words: t("Procedure: {title}", { title: titled(chosen, now) }) });
      await done();
    };
    if (chosen.stages.some((s) => s.id === now.stage.id)) return change(now.stage.id);
    const stages = [{ name: "to", label: t("It has no stage “{title}”. In which stage does the batch go on?", { title: now.stage.title }), options: chosen.stages.map((s) => [s.id, s.title]), value: chosen.stages[0].id }];
    // once the first dialog is closed
    return void setTimeout(() => ask(chosen.title, stages, ({ to }) => change(to)));
  });
}
