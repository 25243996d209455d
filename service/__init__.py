"""The API of Ebbmark: HTTP, accounts, storage and jobs round the tide core."""
