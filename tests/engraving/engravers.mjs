// Loads MusicXML files in two engravers that are not ours and prints what each found, as JSON, a
// line a file. Run where verovio, opensheetmusicdisplay and jsdom are installed.
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { pathToFileURL } from "node:url";
import path from "node:path";

const here = createRequire(pathToFileURL(path.join(process.cwd(), "package.json")));
const load = (name) => import(pathToFileURL(here.resolve(name)));

const { default: createVerovioModule } = await load("verovio/wasm");
const { VerovioToolkit } = await load("verovio/esm");
const { JSDOM } = here("jsdom");
const { window } = new JSDOM("<!DOCTYPE html><div id='sheet'></div>", { pretendToBeVisual: true });
for (const name of ["window", "document", "Node", "Element", "HTMLElement", "SVGElement", "DOMParser", "XMLSerializer"]) {
  globalThis[name] = name === "window" ? window : window[name];
}
// A browser measures text; jsdom does not.
window.HTMLCanvasElement.prototype.getContext = () =>
  new Proxy({}, { get: (_, key) => (key === "measureText" ? () => ({ width: 10 }) : () => {}), set: () => true });
window.SVGElement.prototype.getBBox = () => ({ x: 0, y: 0, width: 10, height: 10 });
const { OpenSheetMusicDisplay } = here("opensheetmusicdisplay");

const toolkit = new VerovioToolkit(await createVerovioModule());

function withVerovio(xml) {
  toolkit.setOptions({ breaks: "none" });
  if (!toolkit.loadData(xml)) return { error: "not loaded" };
  const mei = toolkit.getMEI({ removeIds: true });
  const count = (pattern) => (mei.match(pattern) || []).length;
  const svg = toolkit.renderToSVG(1);
  const frets = (mei.match(/<note [^>]*tab\.fret="\d+"/g) || []).length;
  return {
    measures: count(/<measure[ >]/g),
    notes: count(/<note[ >]/g) - frets,
    frets,
    chords: count(/<harm[ >]/g),
    ties: count(/<tie[ >]/g),
    svg: svg.length,
  };
}

async function withSheetDisplay(xml) {
  const place = window.document.getElementById("sheet");
  place.innerHTML = ""; // else each score is drawn below all those before it
  const sheet = new OpenSheetMusicDisplay(place, { autoResize: false, backend: "svg" });
  await sheet.load(xml);
  sheet.render();
  const found = { measures: sheet.Sheet.SourceMeasures.length, notes: 0, frets: 0, chords: 0 };
  for (const measure of sheet.Sheet.SourceMeasures) {
    for (const container of measure.VerticalSourceStaffEntryContainers) {
      for (const entry of container.StaffEntries) {
        if (!entry) continue;
        found.chords += entry.ChordContainers.length;
        for (const voice of entry.VoiceEntries) {
          for (const note of voice.Notes) {
            if (note.isRest()) continue;
            if (note.FretNumber !== undefined) found.frets += 1;
            else found.notes += 1;
          }
        }
      }
    }
  }
  found.svg = place.innerHTML.length;
  return found;
}

for (const file of process.argv.slice(2)) {
  const xml = readFileSync(file, "utf8");
  console.log(JSON.stringify({ file, verovio: withVerovio(xml), osmd: await withSheetDisplay(xml) }));
}
process.exit(0);
