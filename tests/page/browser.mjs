// A real browser for the checks of pages: Debian's Chromium without a network, and what a check finds as lines on standard output.

import { execFileSync } from "node:child_process"
import { createRequire } from "node:module"
import { pathToFileURL } from "node:url"

const packages = createRequire(`${process.env.FIRNBOOK_NODE}/`)
const { chromium } = packages("playwright-core")

/** The source of axe-core, to be put into a page. */
export const axe = packages("axe-core").source

/** A package of the tests. */
export const need = packages

export async function browser() {
  const executablePath = execFileSync("which", ["chromium"]).toString().trim()
  const args = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--force-color-profile=srgb"]
  return chromium.launch({ executablePath, args })
}

/** Opens a file; what it says on the console, throws or asks of the network is added to `heard`. */
export async function open(context, file, heard = []) {
  const page = await context.newPage()
  const address = pathToFileURL(file).href
  page.on("console", (message) => heard.push(`console: ${message.text()}`))
  page.on("pageerror", (error) => heard.push(`error: ${error.message}`))
  page.on("dialog", (dialog) => { heard.push(`dialog: ${dialog.message()}`); dialog.dismiss() })
  page.on("request", (request) => { if (request.url() !== address) heard.push(`request: ${request.url()}`) })
  await page.goto(address)
  return page
}

/** Runs a check over every file; each finding is a line, and the exit status says whether there was any. */
export async function over(files, check) {
  const found = []
  const chromium = await browser()
  for (const file of files) {
    for (const line of await check(chromium, file)) found.push(`${file.split("/").at(-1)}: ${line}`)
  }
  await chromium.close()
  for (const line of found) console.log(line)
  process.exitCode = found.length ? 1 : 0
}
