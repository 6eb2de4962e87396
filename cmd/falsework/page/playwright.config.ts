import { defineConfig } from "@playwright/test";

// The Chromium of the system: none is downloaded. Without a graphics card WebGL is drawn by
// the processor, which is slow but the same picture.
export default defineConfig({
  testDir: "tests",
  // The picture is drawn by `make pictures` only.
  testMatch: process.env["FALSEWORK_PICTURE"] ? "picture.ts" : "*.spec.ts",
  globalSetup: "./tests/program.ts",
  workers: 1,
  timeout: 240_000,
  expect: { timeout: 60_000 },
  reporter: [["list"]],
  outputDir: "test-results",
  use: {
    viewport: { width: 1360, height: 860 },
    colorScheme: "light",
    contextOptions: { reducedMotion: "reduce" },
    launchOptions: {
      executablePath: process.env["CHROMIUM"] ?? "/usr/bin/chromium",
      args: ["--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"],
    },
  },
});
