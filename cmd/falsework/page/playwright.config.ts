import { defineConfig } from "@playwright/test";

// The Chromium of the system: none is downloaded. Without a graphics card WebGL is drawn by
// the processor, which is slow but the same picture.
export default defineConfig({
  testDir: "tests",
  testMatch: "*.spec.ts",
  globalSetup: "./tests/program.ts",
  workers: 1,
  timeout: 90_000,
  expect: { timeout: 20_000 },
  reporter: [["list"]],
  outputDir: "test-results",
  use: {
    viewport: { width: 1360, height: 860 },
    colorScheme: "light",
    launchOptions: {
      executablePath: process.env["CHROMIUM"] ?? "/usr/bin/chromium",
      args: ["--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"],
    },
  },
});
