import { render } from "preact";
import { Api, takeToken } from "./api.ts";
import { Desk } from "./desk.ts";
import { Sheet } from "./ui/Sheet.tsx";

const desk = new Desk(new Api(takeToken()));
void desk.open(new AbortController().signal);
render(<Sheet desk={desk} />, document.getElementById("sheet")!);
