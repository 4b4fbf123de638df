#!/bin/sh
# Run once by InfluxDB's container when it is new: gives the bucket the address /query, by which
# graftvigil reads (docs/stores.md).
set -eu
influx v1 dbrp create --db graftvigil --rp autogen --default \
    --bucket-id "$DOCKER_INFLUXDB_INIT_BUCKET_ID" --org "$DOCKER_INFLUXDB_INIT_ORG" \
    --token "$DOCKER_INFLUXDB_INIT_ADMIN_TOKEN"
