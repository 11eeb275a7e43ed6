"""Every page in every state: worlds to look at, how to reach each page, and what a browser measures there."""
