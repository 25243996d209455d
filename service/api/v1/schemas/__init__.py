"""What requests and answers look like, one module a resource."""
