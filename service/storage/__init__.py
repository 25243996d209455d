"""What is kept: tables, codecs, repositories, the unit of work and the migrations."""
