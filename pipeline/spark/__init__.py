"""The figures' SQL on Apache Spark: translated statement by statement, its tables brought back into the database."""
