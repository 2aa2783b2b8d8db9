"""What pages and API share: transaction, sign-in, permissions, security headers, uploads."""
