"""The tests of roomlink; the tree mirrors the package."""
