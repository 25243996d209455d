// A small caller, as someone might write it: it compiles as long as the contract holds what it uses.
import type { components, paths } from "./contract";

type Answer<P extends keyof paths, S extends number> = paths[P] extends {
  post: { responses: Record<S, { content: { "application/json": infer Body } }> };
}
  ? Body
  : never;
type Search = components["schemas"]["WindowSearch"];
type Found = Answer<"/v1/windows/search", 200>;
type Problem = components["schemas"]["Problem"];

class Refused extends Error {
  constructor(readonly problem: Problem) {
    super(problem.errors.map((fault) => `${fault.field}: ${fault.expected}`).join("; ") || problem.detail);
  }
}

export async function bestEvening(base: string, start: string, end: string): Promise<string | null> {
  const search: Search = { start, end, tz: "Etc/UTC" };
  const response = await fetch(`${base}/v1/windows/search`, {
    method: "POST",
    headers: { "Content-Type": "application/json" },
    body: JSON.stringify(search),
  });
  if (!response.ok) {
    const problem = (await response.json()) as Problem;
    if (problem.type === "/problems/search-too-large") return null;
    throw new Refused(problem);
  }
  const found = (await response.json()) as Found;
  const best = found.windows.find((window) => window.start.slice(11, 16) >= "18:00");
  return best === undefined ? null : `${best.date_local} at ${best.mark_id} for ${best.duration_h.toFixed(1)} h`;
}
