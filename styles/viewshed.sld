<?xml version="1.0" encoding="UTF-8"?>
<StyledLayerDescriptor version="1.0.0"
    xmlns="http://www.opengis.net/sld"
    xmlns:ogc="http://www.opengis.net/ogc"
    xmlns:xlink="http://www.w3.org/1999/xlink"
    xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance"
    xsi:schemaLocation="http://www.opengis.net/sld http://schemas.opengis.net/sld/1.0.0/StyledLayerDescriptor.xsd">
  <NamedLayer>
    <Name>viewshed</Name>
    <UserStyle>
      <Name>viewshed</Name>
      <Title>What is seen</Title>
      <Abstract>Codes of the ground's state; beyond the reach nothing is drawn.</Abstract>
      <IsDefault>1</IsDefault>
      <FeatureTypeStyle>
        <Rule>
          <Name>viewshed</Name>
          <Title>What is seen</Title>
          <RasterSymbolizer>
            <ColorMap>
              <ColorMapEntry color="#FDFBF5" quantity="0" opacity="0" label="Beyond the reach"/>
              <ColorMapEntry color="#34406B" quantity="1" opacity="0.36" label="Hidden"/>
              <ColorMapEntry color="#C2703D" quantity="2" opacity="0.45" label="Uncertain"/>
              <ColorMapEntry color="#F3DF9B" quantity="3" opacity="0.6" label="Visible"/>
              <ColorMapEntry color="#B9B4C4" quantity="4" opacity="0.5" label="Unknown"/>
            </ColorMap>
          </RasterSymbolizer>
        </Rule>
      </FeatureTypeStyle>
    </UserStyle>
  </NamedLayer>
</StyledLayerDescriptor>
