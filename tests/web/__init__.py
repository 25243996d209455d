"""The contract and the page as others read them: with the tools of Node that `.ci/web` brings."""
