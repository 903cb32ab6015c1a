"""The intake page: a small web server over `check` and the folders of finished runs."""
