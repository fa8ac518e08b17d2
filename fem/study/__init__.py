"""Study file → many closed cases on Dask → answers on a page."""
