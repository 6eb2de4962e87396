// Inks and papers: the colours come from the style sheet, so that light and dark are told
// in one place, and the shaders here lay them on.

import { Color, DoubleSide, FrontSide, ShaderMaterial, Vector3, type Plane } from "three";

export const roles = ["paper", "ink", "faint", "part", "shade", "support", "wash", "need", "fail", "mark", "stale", "cut"] as const;
export type Role = (typeof roles)[number];
export type Palette = Record<Role, Color>;

/** Reads the colours that the style sheet has for this scheme. */
export function readPalette(of: Element): Palette {
  const style = getComputedStyle(of);
  return Object.fromEntries(roles.map((r) => [r, new Color(style.getPropertyValue(`--${r}`).trim())])) as Palette;
}

const head = /* glsl */ `
#include <common>
#include <clipping_planes_pars_fragment>
`;

const vertex = /* glsl */ `
#include <clipping_planes_pars_vertex>
varying vec3 place;
void main() {
  place = position;
  vec4 mvPosition = modelViewMatrix * vec4(position, 1.0);
  #include <clipping_planes_vertex>
  gl_Position = projectionMatrix * mvPosition;
}`;

/** Light from over the draughtsman's left shoulder, in the eye's frame. */
const light = new Vector3(-0.42, 0.62, 0.66).normalize();

/** Flat facets in three tones of paper between two colours; the inside shows as hatched cut. */
export function paper(lit: Color, shade: Color, cut: Color, ground: Color, options: { opacity?: number; offset?: boolean } = {}): ShaderMaterial {
  const opacity = options.opacity ?? 1;
  return new ShaderMaterial({
    uniforms: {
      lit: { value: lit },
      shade: { value: shade },
      cut: { value: cut },
      ground: { value: ground },
      light: { value: light },
      opacity: { value: opacity },
      ratio: { value: 1 },
      solid: { value: 0 },
      stale: { value: 0 },
    },
    vertexShader: `varying vec3 eye;\n${vertex.replace("gl_Position", "eye = mvPosition.xyz;\n  gl_Position")}`,
    fragmentShader: `${head}
uniform vec3 lit, shade, cut, ground, light;
uniform float opacity, ratio, solid, stale;
varying vec3 eye;
void main() {
  #include <clipping_planes_fragment>
  if (gl_FrontFacing) {
    vec3 n = normalize(cross(dFdx(eye), dFdy(eye)));
    float l = clamp(0.5 + 0.5 * dot(n, light), 0.0, 1.0);
    gl_FragColor = vec4(mix(shade, lit, smoothstep(0.15, 0.95, l)), opacity);
    // What no longer counts is ruled over in broken grey.
    float r = fract((gl_FragCoord.x - gl_FragCoord.y) / (7.0 * ratio));
    if (stale > 0.5) gl_FragColor.rgb = mix(gl_FragColor.rgb, ground, r < 0.5 ? 0.75 : 0.35);
  } else {
    float s = fract((gl_FragCoord.x + gl_FragCoord.y) / (6.0 * ratio));
    gl_FragColor = vec4(mix(ground, cut, solid > 0.5 ? 1.0 : 1.0 - smoothstep(0.16, 0.26, abs(s - 0.5))), opacity < 1.0 ? opacity * 0.5 : 1.0);
  }
}`,
    side: opacity < 1 ? FrontSide : DoubleSide,
    transparent: opacity < 1,
    depthWrite: opacity >= 1,
    clipping: true,
    polygonOffset: options.offset ?? true,
    polygonOffsetFactor: 1,
    polygonOffsetUnits: 4,
  });
}

/** Hatching laid over a face: parallel rules in space, so that they turn with the part. */
export function hatching(ink: Color, crossed: boolean): ShaderMaterial {
  return new ShaderMaterial({
    uniforms: { ink: { value: ink }, pitch: { value: 2 }, strength: { value: 1 } },
    vertexShader: vertex,
    fragmentShader: `${head}
uniform vec3 ink;
uniform float pitch, strength;
varying vec3 place;
float rule(float t) {
  float w = fwidth(t);
  float d = abs(fract(t) - 0.5);
  return 1.0 - smoothstep(0.0, max(w, 1e-5), d - w * 0.3);
}
void main() {
  #include <clipping_planes_fragment>
  vec3 n = abs(normalize(cross(dFdx(place), dFdy(place))));
  vec2 q = n.z > max(n.x, n.y) ? place.xy : (n.x > n.y ? place.yz : place.xz);
  float a = rule((q.x + q.y) / pitch);
  ${crossed ? "a = max(a, rule((q.x - q.y) / pitch));" : ""}
  gl_FragColor = vec4(ink, mix(0.1, 0.9, a) * strength);
}`,
    side: DoubleSide,
    transparent: true,
    depthWrite: false,
    clipping: true,
    polygonOffset: true,
    polygonOffsetFactor: -1,
    polygonOffsetUnits: -2,
  });
}

/** Ink for edges. An edge with two normals is drawn only where one side looks away. */
export function pen(ink: Color, strength = 1): ShaderMaterial {
  return new ShaderMaterial({
    uniforms: { ink: { value: ink }, strength: { value: strength }, eye: { value: new Vector3(0, 0, 1) } },
    vertexShader: /* glsl */ `
#include <clipping_planes_pars_vertex>
attribute vec3 first, second;
uniform vec3 eye;
void main() {
  vec4 mvPosition = modelViewMatrix * vec4(position, 1.0);
  #include <clipping_planes_vertex>
  gl_Position = projectionMatrix * mvPosition;
  if (dot(second, second) > 0.5 && dot(first, eye) * dot(second, eye) > 0.0) gl_Position = vec4(2.0, 2.0, 2.0, 1.0);
}`,
    fragmentShader: `${head}
uniform vec3 ink;
uniform float strength;
void main() {
  #include <clipping_planes_fragment>
  gl_FragColor = vec4(ink, strength);
}`,
    transparent: strength < 1,
    clipping: true,
  });
}

/** Sets the planes that cut a material. */
export function cutBy(material: ShaderMaterial, planes: Plane[]): void {
  if ((material.clippingPlanes?.length ?? 0) !== planes.length) material.needsUpdate = true;
  material.clippingPlanes = planes;
}

