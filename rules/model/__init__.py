"""The words everything else is said in. Imports only the standard library and pydantic."""
