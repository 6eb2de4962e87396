// Bundles the page into dist/, or with --unit the unit tests into build/.
import { build } from "esbuild";
import { copyFile, readdir, readFile, rm, writeFile } from "node:fs/promises";
import path from "node:path";

process.chdir(import.meta.dirname ?? path.dirname(new URL(import.meta.url).pathname));

const common = {
  bundle: true,
  format: "esm",
  jsx: "automatic",
  jsxImportSource: "preact",
  logLevel: "warning",
  target: "es2022",
};

if (process.argv.includes("--unit")) {
  const tests = (await readdir("tests")).filter((name) => name.endsWith(".test.ts"));
  await rm("build/unit", { recursive: true, force: true });
  await build({
    ...common,
    entryPoints: tests.map((name) => `tests/${name}`),
    outdir: "build/unit",
    outExtension: { ".js": ".mjs" },
    platform: "node",
    packages: "external",
  });
} else {
  for (const name of await readdir("dist")) {
    if (name !== ".placeholder") await rm(`dist/${name}`);
  }
  await build({
    ...common,
    entryPoints: [
      { in: "src/main.tsx", out: "page" },
      { in: "style.css", out: "page" },
    ],
    outdir: "dist",
    minify: true,
    loader: { ".woff2": "file" },
    assetNames: "[name]",
    legalComments: "none",
  });
  await copyFile("index.html", "dist/index.html");
  await writeFile("dist/licences.txt", await licences());
}

// Licences that have to go where the code of others goes.
async function licences() {
  const { dependencies } = JSON.parse(await readFile("package.json", "utf8"));
  let text = "";
  for (const name of Object.keys(dependencies).sort()) {
    const folder = `node_modules/${name}`;
    const { version } = JSON.parse(await readFile(`${folder}/package.json`, "utf8"));
    const file = (await readdir(folder)).find((f) => /^licen[cs]e(\.|$)/i.test(f));
    if (!file) throw new Error(`${name} has no licence beside it`);
    text += `${name} ${version}\n\n${(await readFile(`${folder}/${file}`, "utf8")).trim()}\n\n\n`;
  }
  return text;
}
