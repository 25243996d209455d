"""The contract as others read it: with the tools of Node that `.ci/web` brings."""
