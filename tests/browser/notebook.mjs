// Opens a notebook in JupyterLab, runs all cells, and looks at what is drawn:
//   node notebook.mjs ADDRESS SCREENSHOT WORD...
// Passes when no cell failed and a drawn figure shows every WORD (such as a peak's name).
import { chromium } from "playwright-core";

const [address, screenshot, ...words] = process.argv.slice(2);
const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
  args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync"],
});
const page = await browser.newPage({ viewport: { width: 1300, height: 1000 } });
const fail = async (sentence) => {
  await page.screenshot({ path: screenshot });
  console.error(sentence);
  await browser.close();
  process.exit(1);
};
const begun = Date.now();
try {
  await page.goto(address, { waitUntil: "domcontentloaded" });
  await page.waitForSelector(".jp-Notebook .jp-CodeCell", { timeout: 60_000 });
  // Asked for only where the notebook's own kernel is not known to Jupyter: that would be a fault.
  if (await page.locator(".jp-Dialog").count()) await fail("JupyterLab asks for a kernel");
  // Cells sent to a kernel that is still starting are lost.
  await page.waitForFunction(() => /\| Idle/.test(document.body.innerText), null, { timeout: 180_000 });
  console.log(`kernel idle ${((Date.now() - begun) / 1000).toFixed(1)} s after the page was asked for`);
  await page.getByRole("menuitem", { name: "Run", exact: true }).click();
  await page.getByRole("menuitem", { name: "Run All Cells", exact: true }).click();
  await page.waitForSelector(".js-plotly-plot .main-svg", { timeout: 120_000 });
  console.log(`first figure drawn ${((Date.now() - begun) / 1000).toFixed(1)} s after the page was asked for`);
  // All cells have run when none shows a star.
  await page.waitForFunction(
    () => [...document.querySelectorAll(".jp-CodeCell .jp-InputPrompt")].every((p) => /\[\d+\]/.test(p.textContent)),
    null, { timeout: 120_000 });
  const errors = await page.locator('[data-mime-type="application/vnd.jupyter.stderr"], [data-mime-type="application/vnd.jupyter.error"]').allTextContents();
  if (errors.length) await fail(`a cell failed: ${errors[0]}`);
  // The one that bears the names; figures out of sight may not be drawn yet.
  const figures = await page.locator(".js-plotly-plot").all();
  let named = null;
  const seen = [];
  for (const figure of figures) {
    await figure.scrollIntoViewIfNeeded();
    const text = (await figure.locator("svg text").allTextContents()).join("\n");
    seen.push(text);
    if (words.every((word) => text.includes(word))) named = figure;
  }
  if (!named) await fail(`none of ${figures.length} figures shows ${words.join(", ")}: ${seen.join("\n---\n")}`);
  const curves = await named.locator("path.js-line").count();
  if (!curves) await fail("the figure has names but no curve");
  await named.scrollIntoViewIfNeeded();
  await page.screenshot({ path: screenshot });
  console.log(`the figure shows ${words.join(", ")}`);
  await browser.close();
} catch (error) {
  await fail(String(error));
}
