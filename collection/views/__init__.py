"""Views: get through access, check the form, call one action or query, render."""
