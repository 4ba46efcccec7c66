// One check of pages in a browser: node check.mjs CHECK FILE… prints a line a finding and exits with 1 if there is any.

import { execFileSync, spawnSync } from "node:child_process"
import { mkdtempSync, rmSync, writeFileSync } from "node:fs"
import { tmpdir } from "node:os"
import { join } from "node:path"
import { axe, need, open, over } from "./browser.mjs"

const checks = {
  /** Says nothing on the console, asks nothing of the network, opens no dialog; with script and without. */
  async quiet(chromium, file) {
    const heard = []
    for (const javaScriptEnabled of [true, false]) {
      const context = await chromium.newContext({ javaScriptEnabled })
      const page = await open(context, file, heard)
      await page.mouse.move(200, 300)
      await page.waitForTimeout(150)
      if (javaScriptEnabled) {
        const acted = await page.evaluate(() => [window.acted, document.querySelectorAll("img,iframe,object,embed,link,form,base").length])
        if (acted[0] !== undefined) heard.push(`a text of an entry ran: ${acted[0]}`)
        if (acted[1] !== 0) heard.push(`${acted[1]} elements that could load something`)
      }
      await context.close()
    }
    return heard
  },

  /** Tab alone reaches everything that can be used, each once round, with a mark where one is. */
  async keyboard(chromium, file) {
    const found = []
    const context = await chromium.newContext()
    const page = await open(context, file)
    const wanted = await page.evaluate(() => {
      const usable = [...document.querySelectorAll("a[href],button,summary,[tabindex='0']")]
      const shown = usable.filter((e) => e.checkVisibility())
      shown.forEach((e, i) => { e.dataset.stop = i })
      return shown.length
    })
    const reached = new Set()
    for (let i = 0; i < wanted + 5; i++) {
      await page.keyboard.press("Tab")
      const stop = await page.evaluate(() => {
        const e = document.activeElement
        const style = getComputedStyle(e)
        return { n: e.dataset?.stop, marked: style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2 }
      })
      if (stop.n === undefined) continue
      reached.add(stop.n)
      if (!stop.marked) found.push(`stop ${stop.n} is not marked when it has the focus`)
    }
    if (reached.size !== wanted) found.push(`the keyboard reaches ${reached.size} of ${wanted}`)
    // Every table below a figure opens by keyboard.
    for (const summary of await page.$$("summary")) {
      await summary.focus()
      await page.keyboard.press("Enter")
      if (!(await summary.evaluate((e) => e.parentElement.open))) found.push("a summary does not open by Enter")
    }
    await context.close()
    return found
  },

  /** axe-core finds nothing serious or critical, and every text has a contrast of 7 to 1, in light and in dark. */
  async axe(chromium, file) {
    const found = []
    for (const colorScheme of ["light", "dark"]) {
      const context = await chromium.newContext({ colorScheme, bypassCSP: true })
      const page = await open(context, file)
      await page.evaluate(() => document.querySelectorAll("details").forEach((d) => { d.open = true }))
      await page.evaluate(axe)
      const result = await page.evaluate(() => window.axe.run(document, { rules: { "color-contrast-enhanced": { enabled: true } } }))
      for (const broken of result.violations) {
        const heavy = ["serious", "critical"].includes(broken.impact)
        if (heavy) found.push(`${colorScheme}: ${broken.id}: ${broken.help}: ${broken.nodes.slice(0, 3).map((n) => n.html.slice(0, 120)).join(" | ")}`)
      }
      if (!result.passes.some((rule) => rule.id === "color-contrast-enhanced")) found.push(`${colorScheme}: the contrast was not looked at`)
      await context.close()
    }
    return found
  },

  /** Every figure is an image with a name and has a table; there is one h1, and no level of headings is left out. */
  async structure(chromium, file) {
    const context = await chromium.newContext({ javaScriptEnabled: true })
    const page = await open(context, file)
    const found = await page.evaluate(() => {
      const found = []
      for (const figure of document.querySelectorAll("figure")) {
        const name = figure.querySelector("figcaption")?.textContent
        if (!figure.querySelector("svg[role=img][aria-label]")) found.push(`the drawing "${name}" has no name`)
        if (!figure.querySelector("table tbody tr")) found.push(`the figure "${name}" has no table`)
      }
      const levels = [...document.querySelectorAll("h1,h2,h3")].map((h) => Number(h.tagName[1]))
      if (levels.filter((l) => l === 1).length !== 1) found.push("not one h1")
      levels.forEach((level, i) => { if (i && level > levels[i - 1] + 1) found.push(`heading ${i} leaves out a level`) })
      if (document.querySelectorAll("main").length !== 1) found.push("not one main")
      return found
    })
    await context.close()
    return found
  },

  /** The first field of the key to the time line shows its pattern, which is light, and not the black of a fill that is not found. */
  async keys(chromium, file) {
    const context = await chromium.newContext({ colorScheme: "light" })
    const page = await open(context, file)
    const key = await page.$('use[href="#key-phases"]')
    if (!key) return ["there is no key to the time line"]
    await key.scrollIntoViewIfNeeded()
    const box = await key.boundingBox()
    const shot = await page.screenshot({ clip: { x: box.x + 2, y: box.y + 2, width: 12, height: 8 } })
    const blank = await context.newPage()
    const lightness = await blank.evaluate(async (png) => {
      const image = new Image()
      image.src = `data:image/png;base64,${png}`
      await image.decode()
      const canvas = new OffscreenCanvas(image.width, image.height).getContext("2d")
      canvas.drawImage(image, 0, 0)
      const data = canvas.getImageData(0, 0, image.width, image.height).data
      return data.reduce((sum, value) => sum + value, 0) / data.length
    }, shot.toString("base64"))
    await context.close()
    return lightness > 140 ? [] : [`the first field of the key is as dark as ${lightness.toFixed(0)} of 255`]
  },

  /** No page is wider than its window, from a phone to a large screen. */
  async widths(chromium, file) {
    const found = []
    for (const width of [360, 800, 1600]) {
      const context = await chromium.newContext({ viewport: { width, height: 900 } })
      const page = await open(context, file)
      const wide = await page.evaluate(() => document.documentElement.scrollWidth)
      if (wide > width) found.push(`${wide} pixels wide in a window of ${width}`)
      await context.close()
    }
    return found
  },

  /** Where a drawing is wider than its place, an arrow says so, and only there. */
  async sideways(chromium, file) {
    const found = []
    for (const width of [360, 800, 1600]) {
      const context = await chromium.newContext({ viewport: { width, height: 900 } })
      const page = await open(context, file)
      found.push(...(await page.$$eval("figure", (figures) => figures.flatMap((figure) => {
        const place = figure.querySelector(".scroll") ?? figure
        const wider = place.scrollWidth > place.clientWidth
        const said = getComputedStyle(figure.querySelector("figcaption"), "::after").content.includes("→")
        return wider === said ? [] : [`"${figure.querySelector("figcaption")?.textContent}": wider ${wider}, said ${said}`]
      }))).map((what) => `at ${width} pixels, ${what}`))
      await context.close()
    }
    return found
  },

  /** What is in the snow and what took longest stand above the fold of a laptop, and what is in the snow on a phone too. */
  async first(chromium, file) {
    const found = []
    for (const [width, height, ids] of [[1366, 768, ["snow", "longest"]], [800, 700, ["snow", "longest"]], [360, 740, ["snow"]]]) {
      const context = await chromium.newContext({ viewport: { width, height } })
      const page = await open(context, file)
      for (const id of ids) {
        const bottom = await page.evaluate((id) => document.getElementById(id).parentElement.querySelector(".big").getBoundingClientRect().bottom, id)
        if (bottom > height) found.push(`${id} ends at ${bottom} in a window of ${width} x ${height}`)
      }
      await context.close()
    }
    return found
  },

  /** The script shows one drill alone and all again, and says what the pointer is on. */
  async script(chromium, file) {
    const found = []
    const context = await chromium.newContext()
    const page = await open(context, file)
    const shown = () => page.$$eval("section.drill", (all) => all.filter((d) => d.checkVisibility()).length)
    const all = await shown()
    if (all < 2) found.push(`${all} drills: nothing to choose from`)
    await page.click(".filter button:nth-of-type(2)")
    if ((await shown()) !== 1) found.push(`${await shown()} drills shown when one was chosen`)
    await page.click(".filter button:nth-of-type(1)")
    if ((await shown()) !== all) found.push("not all drills are shown again")
    const shape = page.locator("figure svg rect:has(> title)").first()
    await shape.hover()
    const title = await shape.locator("> title").textContent()
    if (!(await page.locator("output.hover").allTextContents()).includes(title)) found.push(`the pointer says nothing on "${title}"`)
    await context.close()
    const bare = await chromium.newContext({ javaScriptEnabled: false })
    const plain = await open(bare, file)
    if ((await plain.$$("section.drill")).length !== all) found.push("without script there are other drills")
    if ((await plain.$$(".filter")).length) found.push("without script there is a filter that does nothing")
    await bare.close()
    return found
  },

  /** Printed, no figure, table row of a form or panel is cut: a mark at its top and one at its bottom lie on one page. */
  async print(chromium, file) {
    const found = []
    const folder = mkdtempSync(join(tmpdir(), "firnbook-print-"))
    const context = await chromium.newContext({ bypassCSP: true })
    const page = await open(context, file)
    const n = await page.evaluate(() => {
      const whole = [...document.querySelectorAll("figure,.panel,.alarm-box,section.paper")]
      const mark = (text) => Object.assign(document.createElement("span"), { textContent: text, style: "position:absolute;font-size:4pt;line-height:1" })
      whole.forEach((e, i) => { e.prepend(mark(`top${i}x`)); e.append(mark(`end${i}x`)) })
      return whole.length
    })
    const pdf = join(folder, "page.pdf")
    writeFileSync(pdf, await page.pdf({ preferCSSPageSize: true }))
    const pages = execFileSync("pdftotext", ["-layout", pdf, "-"]).toString().split("\f")
    const on = (text) => pages.findIndex((p) => p.includes(text))
    for (let i = 0; i < n; i++) {
      const [top, end] = [on(`top${i}x`), on(`end${i}x`)]
      if (top < 0 || end < 0) found.push(`part ${i} is not printed`)
      else if (top !== end) found.push(`part ${i} begins on page ${top + 1} and ends on page ${end + 1}`)
    }
    // A form fills one page of paper and no more.
    const forms = await page.$$eval("section.paper", (all) => all.length)
    const printed = pages.filter((p) => p.trim()).length
    if (forms && printed !== forms) found.push(`${forms} sheets print on ${printed} pages`)
    if (!n && !printed) found.push("nothing is printed")
    await context.close()
    rmSync(folder, { recursive: true })
    return found
  },
}

const [check, ...files] = process.argv.slice(2)
if (check === "html") {
  const { HtmlValidate } = need("html-validate")
  const rules = new HtmlValidate({ extends: ["html-validate:standard", "html-validate:a11y"], rules: {
    // The typography of a source that nobody writes by hand.
    "no-trailing-whitespace": "off", "void-style": "off", "long-title": "off",
    // What scrolls is a region with a name and no section of the text.
    "prefer-native-element": ["error", { exclude: ["region"] }],
  } })
  const report = await rules.validateMultipleFiles(files)
  for (const result of report.results) {
    for (const m of result.messages) console.log(`${result.filePath.split("/").at(-1)}:${m.line}:${m.column}: ${m.ruleId}: ${m.message}`)
  }
  process.exitCode = report.valid ? 0 : 1
} else if (check === "vnu") {
  // The Nu Html Checker, by the people who maintain the standard (github.com/validator/validator); it reads the styles too.
  const said = spawnSync("java", ["-jar", need("vnu-jar"), "--format", "json", "--exit-zero-always", ...files])
  if (said.status !== 0) throw new Error(`java says ${said.error ?? said.stderr}`)
  // It knows no property of SVG 2, and no hash in a policy of the head: that the browser lets both run under it is the check `script`.
  const unknown = /“paint-order” doesn't exist|violates Content Security Policy \(meta tag\)/
  const messages = JSON.parse(said.stderr).messages.filter((m) => (m.type === "error" || m.subType === "warning") && !unknown.test(m.message))
  for (const m of messages) console.log(`${m.url.split("/").at(-1)}:${m.lastLine}:${m.lastColumn}: ${m.message}`)
  process.exitCode = messages.length ? 1 : 0
} else {
  await over(files, checks[check])
}
