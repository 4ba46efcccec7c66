// Pictures of pages for a person to look at: node shots.mjs FOLDER FILE… writes each at 360, 800 and 1600 pixels in light and dark, and as printed.

import { basename, join } from "node:path"
import { writeFileSync } from "node:fs"
import { browser, open } from "./browser.mjs"

const [folder, ...files] = process.argv.slice(2)
const chromium = await browser()
for (const file of files) {
  const name = basename(file, ".html")
  for (const colorScheme of ["light", "dark"]) {
    for (const width of [360, 800, 1600]) {
      const context = await chromium.newContext({ colorScheme, viewport: { width, height: 900 } })
      const page = await open(context, file)
      await page.screenshot({ path: join(folder, `${name}-${width}-${colorScheme}.png`), fullPage: true })
      await context.close()
    }
  }
  const context = await chromium.newContext()
  const page = await open(context, file)
  writeFileSync(join(folder, `${name}.pdf`), await page.pdf({ preferCSSPageSize: true }))
  await context.close()
}
await chromium.close()
