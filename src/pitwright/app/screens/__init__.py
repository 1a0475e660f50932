"""The screens, each with its parts beside it: build.py with build_steps.py, build_end.py ..."""
