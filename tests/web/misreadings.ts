// What somebody who misreads the contract might write: each line with an error that the compiler must find.
import type { components, paths } from "./contract";

type Window = components["schemas"]["WindowSchema"];
type Problem = components["schemas"]["Problem"];

// @ts-expect-error a field of a request that there is not
export const search: components["schemas"]["WindowSearch"] = { start: "", end: "", marks: [] };

// @ts-expect-error a field that must be given
export const endless: components["schemas"]["WindowSearch"] = { start: "" };

// @ts-expect-error a field of an answer that there is not
export const length = (window: Window): number => window.duration;

// @ts-expect-error a type of problem that there is not
export const known = (problem: Problem): boolean => problem.type === "/problems/search-too-long";

// @ts-expect-error a path that there is not
export type Searches = paths["/v1/windows/searches"];
