// Words first, then the page: what its scripts say when they are loaded is said in the reader's language.
import { loadWords, tellPage } from "./words.js";

await loadWords();
tellPage();
await import("./app.js");
