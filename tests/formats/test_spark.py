"""schemas/sql/season.sql in Apache Spark, on a master and two workers, gives the program's own answers to 1e-9. Only by name: it needs Java."""

import os
import random
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest
from conftest import filled
from seasons import season
from test_season_sql import TABLES, compare, statements

pyspark = pytest.importorskip("pyspark", reason="`tests/run scale` brings pyspark and Java")
HOME, PORT, WEB = Path(pyspark.__file__).parent, 7177, 8181


@pytest.fixture(scope="module")
def spark(tmp_path_factory):
    """A session on a cluster of two worker processes, all of it on this machine's loopback."""
    folder = tmp_path_factory.mktemp("spark")
    around = {**os.environ, "SPARK_HOME": str(HOME), "SPARK_LOCAL_IP": "127.0.0.1", "PYSPARK_PYTHON": sys.executable}
    os.environ.update({key: around[key] for key in ["SPARK_HOME", "SPARK_LOCAL_IP", "PYSPARK_PYTHON"]})
    running = []

    def start(*words):
        log = (folder / f"{len(running)}.log").open("w")
        running.append(subprocess.Popen([HOME / "bin" / "spark-class", *map(str, words)], env=around, stdout=log, stderr=log))

    try:
        start("org.apache.spark.deploy.master.Master", "--host", "127.0.0.1", "--port", PORT, "--webui-port", WEB)
        for n in range(2):
            start("org.apache.spark.deploy.worker.Worker", "--host", "127.0.0.1", "--cores", 1, "--memory", "1g",
                  "--work-dir", folder / f"w{n}", "--webui-port", WEB + 10 + n, f"spark://127.0.0.1:{PORT}")
        for _ in range(120):
            try:
                with urllib.request.urlopen(f"http://127.0.0.1:{WEB}/json/", timeout=2) as page:
                    if page.read().decode().count('"ALIVE"') >= 3:
                        break
            except OSError:
                pass
            time.sleep(1)
        session = (pyspark.sql.SparkSession.builder.master(f"spark://127.0.0.1:{PORT}")
                   .config("spark.driver.host", "127.0.0.1").config("spark.driver.bindAddress", "127.0.0.1")
                   .config("spark.sql.sources.partitionColumnTypeInference.enabled", "false")
                   .config("spark.sql.shuffle.partitions", "4").config("spark.ui.enabled", "false")
                   .config("spark.sql.warehouse.dir", str(folder / "warehouse")).getOrCreate())
        yield session
        session.stop()
    finally:
        for process in running:
            process.terminate()


def test_spark_gives_the_answers_of_the_program(firnbook, spark, tmp_path):
    store = filled(firnbook, tmp_path / "store", season(random.Random(5), 15), tmp_path)
    firnbook(store, "export", "--format", "parquet", "-o", tmp_path / "season")
    for table in TABLES:
        spark.read.parquet(str(tmp_path / "season" / table)).createOrReplaceTempView(table)
    for statement in statements():
        spark.sql(statement)
    assert spark.sparkContext._jsc.sc().getExecutorMemoryStatus().size() >= 3
    compare(lambda *words: firnbook(store, *words), lambda view: [row.asDict() for row in spark.sql(f"SELECT * FROM {view}").collect()])
