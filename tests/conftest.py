"""Makes the helpers beside this file importable from every room's tests."""
