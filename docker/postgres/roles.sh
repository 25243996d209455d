#!/bin/sh
# Makes the two roles and the database, once, when the server has no data yet.
set -eu
psql --no-psqlrc --set ON_ERROR_STOP=1 --username "$POSTGRES_USER" --dbname postgres \
    --set owner_password="$EBBMARK_OWNER_PASSWORD" --set app_password="$EBBMARK_APP_PASSWORD" <<'SQL'
CREATE ROLE ebbmark_owner LOGIN PASSWORD :'owner_password';
CREATE ROLE ebbmark_app LOGIN PASSWORD :'app_password';
CREATE DATABASE ebbmark OWNER ebbmark_owner;
SQL
