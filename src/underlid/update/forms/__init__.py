"""The forms of the account: pages, print, pictures, film and data, each set from the same facts and sentences."""
