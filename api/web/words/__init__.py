"""Every text of the pages, one file a language, and which language a request is answered in."""
